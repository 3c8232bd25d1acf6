"""Look-up by steps of age: counts of diapers, volumes of feeds.

A step holds from its start (included) to its end (excluded). Where a table gives a range, the interval is the
published range; an uncertain age gives the hull of the steps still possible; outside the table there is no answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layette.engine.measures.arithmetic import minimum, multiply
from layette.engine.measures.interval import Interval, Ratio, floors
from layette.engine.measures.registry import OF_TABLE, Parameter, measure


@dataclass(frozen=True, slots=True)
class StepTable:
    """Steps of age in whole hours, without gap: ``starts`` (k,), the last ends at ``end``.

    ``columns``: name -> (low, high), int64, shape (k,) each, in ``1 / scale`` of ``unit``; equal where one number is
    printed. A day of life k of the source is the hours from 24 (k - 1) to 24 k.
    """

    name: str
    label: str
    unit: str
    starts: NDArray[np.int64]
    end: int
    columns: Mapping[str, tuple[NDArray[np.int64], NDArray[np.int64]]]
    scale: int
    source: tuple[str, ...]
    status: str


@measure(
    "expected_count",
    takes=(Parameter("age_h", "value", "h"), Parameter("table", "table"), Parameter("column", "literal")),
    unit=OF_TABLE,
    source="the table's own: state program and national parent information, minimum in 24 h by day of life",
)
def expected_count(age_h: Interval, table: StepTable, column: str) -> Interval:
    """Return what ``column`` gives for the age in hours, shape (n,), in the table's unit. Raises KeyError."""
    low, high = table.columns[column]
    first = floors(age_h.lo, -1, table.end)
    last = first if age_h.exact else floors(age_h.hi, -1, table.end)
    inside = (first >= table.starts[0]) & (last < table.end)
    i = _step(first, table)
    if last is first:
        return _answer(low[i], high[i], inside, table.scale).matching(age_h)
    steps = np.arange(len(table.starts))
    possible = (steps >= i[:, None]) & (steps <= _step(last, table)[:, None])
    lo = np.where(possible, low, low.max()).min(axis=1)
    hi = np.where(possible, high, high.min()).max(axis=1)
    return _answer(lo, hi, inside, table.scale).matching(age_h)


def _step(hour: NDArray[np.int64], table: StepTable) -> NDArray[np.int64]:
    return np.maximum(table.starts.searchsorted(hour, side="right") - 1, 0)


def _answer(lo: NDArray[np.int64], hi: NDArray[np.int64], inside: NDArray[np.bool_], scale: int) -> Interval:
    if inside.all() and (lo == hi).all():
        return Interval.from_integers(lo, scale=scale)
    den = np.where(inside, scale, 0)
    return Interval(Ratio(np.where(inside, lo, -1), den), Ratio(np.where(inside, hi, 1), den))


@measure(
    "feed_volume_per_feed",
    takes=(Parameter("age_h", "value", "h"), Parameter("table", "table")),
    unit="mL",
    source="Kellams et al., ABM Protocol #3, Breastfeed Med 2017;12:188-98; AAP parent information on formula feeding",
)
def feed_volume_per_feed(age_h: Interval, table: StepTable) -> Interval:
    """Return the expected range of one feed in mL at an age in hours, shape (n,); the table's column ``per_feed``."""
    return expected_count(age_h, table, "per_feed")


@measure(
    "feed_volume_per_day",
    takes=(Parameter("weight", "value", "kg"), Parameter("age_h", "value", "h"), Parameter("table", "table")),
    unit="mL/d",
    source="AAP parent information, amount and schedule of formula feedings",
)
def feed_volume_per_day(weight: Interval, age_h: Interval, table: StepTable) -> Interval:
    """Return the expected range of a day's formula in mL, shape (n,): weight in kg times ``per_kg``, at most ``most``.

    Both are columns of the table. An unknown weight leaves the low end open, and ``most`` as the high end.
    """
    total = multiply(weight, expected_count(age_h, table, "per_kg"))
    return minimum(total, expected_count(age_h, table, "most"))
