"""Look-up by steps of age: counts of diapers, volumes of feeds.

A step holds from its start (included) to its end (excluded). Where a table gives a range, the interval is the
published range; an uncertain age gives the hull of the steps still possible; outside the table there is no answer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from layette.engine.exact.arithmetic import minimum, multiply
from layette.engine.exact.interval import Interval, Ratio, floors
from layette.engine.exact.one_or_many import Bools, Integers, at, chosen, not_, some, step_at
from layette.engine.measures.input_kinds import OF_TABLE, VISIT, AgeAt, Of, Table, Word
from layette.engine.measures.registry import measure


@dataclass(frozen=True, slots=True)
class StepTable:
    """Steps of age in whole hours, without gap: k ``starts``, the last step ends at ``end``.

    ``columns``: name -> (low, high), k whole numbers each, in ``1 / scale`` of ``unit``; equal where one number is
    printed. A day of life k of the source is the hours from 24 (k - 1) to 24 k.
    """

    name: str
    label: str
    unit: str
    starts: tuple[int, ...]
    end: int
    columns: Mapping[str, tuple[tuple[int, ...], tuple[int, ...]]]
    scale: int
    source: tuple[str, ...]
    status: str


@measure(
    "expected_count",
    inputs=[AgeAt(VISIT, "h"), Table("table", StepTable), Word("column", "column")],
    unit=OF_TABLE,
    says="what the column gives for the age",
    source="the table's own: state program and national parent information, minimum in 24 h by day of life",
)
def expected_count(age_h: Interval, table: StepTable, column: str) -> Interval:
    """Return what ``column`` gives for the age in hours, shape (n,), in the table's unit. Raises KeyError."""
    low, high = table.columns[column]
    first = floors(age_h.lo, -1, table.end)
    last = first if age_h.exact else floors(age_h.hi, -1, table.end)
    inside = (first >= table.starts[0]) & (last < table.end)
    i = step_at(table.starts, first)
    if last is first:
        return _answer(at(low, i), at(high, i), inside, table.scale)
    k = step_at(table.starts, last)
    return _answer(_over(low, i, k, min), _over(high, i, k, max), inside, table.scale)


def _over(column: Sequence[int], first: Integers, last: Integers, extreme: Callable[..., int]) -> Integers:
    """Return the least or most of a column from step ``first`` to step ``last``."""
    if isinstance(first, int) and isinstance(last, int):
        return extreme(column[first : last + 1])
    pairs = zip(np.atleast_1d(first).tolist(), np.atleast_1d(last).tolist(), strict=True)
    return np.array([extreme(column[i : k + 1]) for i, k in pairs], dtype=np.int64)


def _answer(lo: Integers, hi: Integers, inside: Bools, scale: int) -> Interval:
    den = chosen(inside, scale, 0)
    low = Ratio(chosen(inside, lo, -1), den)
    return Interval(low, low if not some(not_(inside & (lo == hi))) else Ratio(chosen(inside, hi, 1), den))


@measure(
    "feed_volume_per_feed",
    inputs=[AgeAt(VISIT, "h"), Table("table", StepTable, ("per_feed",))],
    unit="mL",
    says="one feed at the age",
    source="Kellams et al., ABM Protocol #3, Breastfeed Med 2017;12:188-98; AAP parent information on formula feeding",
)
def feed_volume_per_feed(age_h: Interval, table: StepTable) -> Interval:
    """Return the expected range of one feed in mL at an age in hours, shape (n,); the table's column ``per_feed``."""
    return expected_count(age_h, table, "per_feed")


@measure(
    "feed_volume_per_day",
    inputs=[Of("of", "kg"), AgeAt(VISIT, "h"), Table("table", StepTable, ("per_kg", "most"))],
    unit="mL/d",
    says="formula in a day for weight and age",
    source="AAP parent information, amount and schedule of formula feedings",
)
def feed_volume_per_day(of: Interval, age_h: Interval, table: StepTable) -> Interval:
    """Return the expected range of a day's formula in mL, shape (n,): the weight ``of`` in kg times ``per_kg``.

    It is at most ``most``; both are columns of the table. An unknown weight leaves the low end open, and ``most`` as
    the high end.
    """
    total = multiply(of, expected_count(age_h, table, "per_kg"))
    return minimum(total, expected_count(age_h, table, "most"))
