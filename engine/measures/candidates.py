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

from layette.engine.measures.interval import Bools, Integers, Interval, floors, some

Answer: TypeAlias = Callable[[NDArray[Any], NDArray[Any]], NDArray[Any]]
"""From values (m,) and rows of the table (m, columns) to answers (m,); must not fall as the value rises."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where n elements stand in a table of two sexes by days. ``outside``: perhaps on a day that it does not hold."""

    sex: Integers
    first: NDArray[np.int64]
    last: NDArray[np.int64]
    outside: Bools

    @classmethod
    def of(cls, sex: Integers, days: Interval, covers: tuple[int, int]) -> Place:
        """Return the rows from completed day ``days.lo`` to ``days.hi``; ``sex``: 0 male, 1 female, -1 unknown."""
        start, end = covers
        first = floors(days.lo, start - 1, end + 1)
        last = first if days.exact else floors(days.hi, start - 1, end + 1)
        outside = (first < start) | (last > end)
        if some(outside):  # any row will do: that answer is dropped
            first, last = np.where(outside, start, first), np.where(outside, start, last)
        first, last = first - start, first - start if last is first else last - start
        return cls(sex, first, last, outside)

    def extremes(
        self, answer: Answer, low: NDArray[Any], high: NDArray[Any], table: NDArray[Any]
    ) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return the lowest answer for ``low`` and the highest for ``high`` over the rows possible, shape (n,) each.

        ``table``: shape (2, days, columns). Both are one array where nothing is uncertain.
        """
        rows = table[np.maximum(self.sex, 0), self.first]
        least = answer(low, rows)
        unsure = (self.last > self.first) | (self.sex < 0)
        if high is low and not some(unsure):
            return least, least
        most = answer(high, rows)
        for i in np.flatnonzero(unsure):
            possible = self._rows(i, table)
            least[i] = answer(np.broadcast_to(low[i], len(possible)), possible).min()
            most[i] = answer(np.broadcast_to(high[i], len(possible)), possible).max()
        return least, most

    def _rows(self, i: np.intp, table: NDArray[Any]) -> NDArray[Any]:
        sexes = slice(None) if self.sex[i] < 0 else slice(self.sex[i], self.sex[i] + 1)
        return table[sexes, self.first[i] : self.last[i] + 1].reshape(-1, table.shape[2])
