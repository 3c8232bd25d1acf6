"""Rows of a table by sex and day that an element may stand on, when sex or day are uncertain.

Most elements stand on one row: all of those are looked up at once. The others are compared with every row still
possible, many elements in one go, and the lowest and highest answer of each is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from layette.engine.exact.interval import Interval, floors
from layette.engine.exact.one_or_many import Bools, Integers, chosen, some

Answer: TypeAlias = Callable[[Any, Any], Any]
"""From values (m,) and rows of the table (m, columns) to answers (m,), or from one value and one row (columns,) to one
answer; must not fall as the value rises."""
_Spread: TypeAlias = tuple[NDArray[np.intp], NDArray[np.intp], NDArray[Any], NDArray[np.intp]]
"""Elements, where the rows of each begin, the rows, and how many each has."""
TOGETHER = 1 << 18
"""Rows that are compared in one go, so that memory stays small."""


@dataclass(frozen=True, slots=True)
class TableRows:
    """The rows of a table of two sexes by days on which one visit, or each of n, may stand.

    ``outside``: perhaps on a day that the table does not hold.
    """

    sex: Integers
    first: Integers
    last: Integers
    outside: Bools

    @classmethod
    def of(cls, sex: Integers, days: Interval, covers: tuple[int, int]) -> TableRows:
        """Return the rows from completed day ``days.lo`` to ``days.hi``; ``sex``: 0 male, 1 female, -1 unknown."""
        start, end = covers
        first = floors(days.lo, start - 1, end + 1)
        last = first if days.exact else floors(days.hi, start - 1, end + 1)
        outside = (first < start) | (last > end)
        if some(outside):  # any row will do: that answer is dropped
            first, last = chosen(outside, start, first), chosen(outside, start, last)
        first, last = first - start, first - start if last is first else last - start
        return cls(sex, first, last, outside)

    def extremes(self, answer: Answer, low: Any, high: Any, table: NDArray[Any]) -> tuple[Any, Any]:
        """Return the lowest answer for ``low`` and the highest for ``high`` over the rows possible.

        ``table``: shape (2, days, columns). Both are one object where nothing is uncertain.
        """
        unsure = (self.last > self.first) | (self.sex < 0)
        if isinstance(unsure, bool):
            return self._of_one(answer, low, high, table, unsure)
        rows = table[np.maximum(self.sex, 0), self.first]
        least = answer(low, rows)
        if high is low and not some(unsure):
            return least, least
        most = least.copy() if high is low else answer(high, rows)
        where = np.flatnonzero(unsure)
        for some_of, starts, possible, each in self._spread(where, table):
            least[some_of] = np.minimum.reduceat(answer(np.repeat(low[some_of], each), possible), starts)
            most[some_of] = np.maximum.reduceat(answer(np.repeat(high[some_of], each), possible), starts)
        return least, most

    def _spread(self, where: NDArray[np.intp], table: NDArray[Any]) -> Iterator[_Spread]:
        """Yield uncertain elements with all the rows that each may stand on, about `TOGETHER` rows in one go."""
        sex, first, last = (part[where] for part in np.broadcast_arrays(self.sex, self.first, self.last))
        days, flat = table.shape[1], table.reshape(-1, table.shape[2])
        spans = last - first + 1
        each = np.where(sex < 0, 2 * spans, spans)
        lowest = first + np.where(sex > 0, days, 0)
        ends = np.cumsum(each)
        begin = 0
        while begin < len(where):
            done = ends[begin - 1] if begin else 0
            part = slice(begin, max(begin + 1, int(np.searchsorted(ends, done + TOGETHER, "right"))))
            starts = ends[part] - each[part] - done
            number, span = each[part], np.repeat(spans[part], each[part])
            place = np.arange(int(number.sum())) - np.repeat(starts, number)
            # Past the days of one sex come those of the other, where either is possible.
            row = np.repeat(lowest[part], number) + place + np.where(place >= span, days - span, 0)
            yield where[part], starts, flat[row], number
            begin = part.stop

    def _of_one(self, answer: Answer, low: Any, high: Any, table: NDArray[Any], unsure: bool) -> tuple[Any, Any]:
        if not unsure:
            row = table[self.sex, self.first].tolist()
            least = answer(low, row)
            return least, least if high is low else answer(high, row)
        rows = self._rows(table).tolist()
        return min(answer(low, row) for row in rows), max(answer(high, row) for row in rows)

    def _rows(self, table: NDArray[Any]) -> NDArray[Any]:
        """Return the rows on which one visit may stand."""
        assert isinstance(self.sex, int)
        sexes = slice(None) if self.sex < 0 else slice(self.sex, self.sex + 1)
        return table[sexes, self.first : self.last + 1].reshape(-1, table.shape[2])
