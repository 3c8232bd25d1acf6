"""Rows of a table by sex and day that an element may stand on, when sex or day are uncertain.

Most elements stand on one row: all of those are looked up at once. The few others are compared, one by one, with
every row still possible, and the lowest and highest answer kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from layette.engine.exact.interval import Interval, floors
from layette.engine.exact.one_or_many import Bools, Integers, chosen, some

Answer: TypeAlias = Callable[[Any, Any], Any]
"""From values (m,) and rows of the table (m, columns) to answers (m,), or from one value and one row (columns,) to one
answer; must not fall as the value rises."""


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
        most = answer(high, rows)
        for i in np.flatnonzero(unsure):
            possible = self._rows(i, table)
            least[i] = answer(np.broadcast_to(low[i], len(possible)), possible).min()
            most[i] = answer(np.broadcast_to(high[i], len(possible)), possible).max()
        return least, most

    def _of_one(self, answer: Answer, low: Any, high: Any, table: NDArray[Any], unsure: bool) -> tuple[Any, Any]:
        if not unsure:
            row = table[self.sex, self.first].tolist()
            least = answer(low, row)
            return least, least if high is low else answer(high, row)
        rows = self._rows(None, table).tolist()
        return min(answer(low, row) for row in rows), max(answer(high, row) for row in rows)

    def _rows(self, i: np.intp | None, table: NDArray[Any]) -> NDArray[Any]:
        sex, first, last = (a if isinstance(a, int) else a[i] for a in (self.sex, self.first, self.last))
        sexes = slice(None) if sex < 0 else slice(sex, sex + 1)
        return table[sexes, first : last + 1].reshape(-1, table.shape[2])
