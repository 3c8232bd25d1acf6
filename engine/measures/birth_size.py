"""Size at birth for gestation and sex: between which published percentiles it lies, and no finer.

The standards print P3, P5, P10, P50, P90, P95, P97 for each day of gestation (Villar et al., Lancet 2014;384:857-68;
very preterm: Villar et al., Lancet 2016;387:844-5). A value exactly on a printed percentile belongs to the band on the
side of the median: small for gestational age is strictly below P10, large strictly above P90.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layette.engine.exact.interval import Interval, Ratio, floors, negative
from layette.engine.exact.one_or_many import Integers, times
from layette.engine.measures.input_kinds import OF_TABLE, Of, Sex, Table
from layette.engine.measures.registry import measure
from layette.engine.measures.table_rows import TableRows


@dataclass(frozen=True, slots=True)
class PercentileTable:
    """Printed percentiles: ``printed`` has shape (2 sexes, days, columns), int64, in ``1 / scale`` of ``unit``.

    ``percentiles`` are the columns' numbers in rising order, ``covers`` the first and last day of gestation. ``edges``
    is where each next band begins, in half steps: on the printed number up to P50, just above it from there on.
    """

    name: str
    label: str
    unit: str
    covers: tuple[int, int]
    percentiles: tuple[int, ...]
    scale: int
    printed: NDArray[np.int64]
    edges: NDArray[np.int64]
    source: tuple[str, ...]
    status: str

    @staticmethod
    def edges_of(printed: NDArray[np.int64], percentiles: tuple[int, ...]) -> NDArray[np.int64]:
        """Return ``edges`` from the printed numbers: twice the number, and one half step more above P50."""
        return np.asarray(2 * printed + np.array([p > 50 for p in percentiles], dtype=np.int64))

    @property
    def bands(self) -> tuple[str, ...]:
        """The categories, lowest first: ``below_p3``, ``p3_to_p5``, ... ``above_p97``."""
        return _bands(self.percentiles)


@lru_cache(maxsize=100)
def _bands(p: tuple[int, ...]) -> tuple[str, ...]:
    return (f"below_p{p[0]}", *(f"p{a}_to_p{b}" for a, b in pairwise(p)), f"above_p{p[-1]}")


@measure(
    "size_for_gestation",
    inputs=[Of("of", OF_TABLE), Sex(), Of("gestation", "d"), Table("table", PercentileTable)],
    gives="category",
    unit="",
    says="between which printed percentiles",
    source="INTERGROWTH-21st: Villar et al., Lancet 2014;384:857-68; Lancet 2016;387:844-5",
)
def size_for_gestation(of: Interval, sex: Integers, gestation_days: Interval, table: PercentileTable) -> Any:
    """Return which of ``table.bands`` are still possible: bool, shape (n, bands); of one visit a list of bool.

    ``of`` in the table's unit; ``sex``: 0 male, 1 female, -1 unknown; ``gestation_days`` at birth, in days. A gestation
    that may lie outside the table leaves every band possible.
    """
    rows = TableRows.of(sex, gestation_days, table.covers)
    low = _cells(of.lo, table.scale)
    high = low if of.exact else _cells(of.hi, table.scale)
    first, last = rows.extremes(_passed, low, high, table.edges)
    if isinstance(rows.outside, bool):
        return [rows.outside or first <= band <= last for band in range(len(table.percentiles) + 1)]
    band = np.arange(len(table.percentiles) + 1)
    inside = (first[:, None] <= band) & (band <= last[:, None])
    return np.asarray(inside | rows.outside[:, None])


def _cells(value: Ratio, scale: int) -> Integers:
    """Return each value's place on the printed steps, exactly: 2k on step k, 2k + 1 between steps k and k + 1."""
    fine = Ratio(times(value.num, scale), value.den)
    down = floors(fine, -(10**9), 10**9)
    up = -floors(negative(fine), -(10**9), 10**9)
    return down + up


def _passed(cell: Any, edges: Any) -> Any:
    """Return how many edges each value has reached: the position of its band."""
    if isinstance(cell, int):
        return bisect_right(edges, cell)
    return np.asarray((cell[:, None] >= edges).sum(axis=1))
