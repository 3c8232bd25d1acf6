"""What is computed straight for one visit is what the registered measures give: elapsed time, conversion."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.seeds import fractions
from support.small_pack import AT, BORN, small

from layette.engine.exact.interval import Interval
from layette.engine.exact.times import DAY, Moment, day_number
from layette.engine.exact.units import UnitMismatchError, convert
from layette.engine.measures import ages
from layette.engine.states.inputs import NewbornAges, converted, elapsed

spans = st.tuples(st.integers(0, 10**9), st.integers(0, 3 * DAY)).map(lambda t: Moment(t[0], t[0] + t[1], ""))
moments = spans | st.integers(0, 10**9).map(lambda at: Moment(at, at, ""))


@given(earlier=moments, later=moments)
def test_elapsed_time_is_that_of_the_measures(earlier: Moment, later: Moment) -> None:
    ends = Interval.one(later.lo, later.hi), Interval.one(earlier.lo, earlier.hi)
    assert elapsed(earlier, later).span() == ages.elapsed_hours(*ends).span() == ages.age(*ends).span()
    assert elapsed(earlier, later, DAY).span() == ages.elapsed_days(*ends).span()
    assert elapsed(earlier, later).exact is (earlier.exact and later.exact)


@given(earlier=moments, later=moments, zone=st.sampled_from(["UTC", "America/Chicago", "Asia/Kolkata"]))
def test_calendar_days_are_those_of_the_measures(earlier: Moment, later: Moment, zone: str) -> None:
    visit = small().read_visit({"born": BORN, "at": AT})
    there = replace(visit, born=earlier, zone=ZoneInfo(zone))
    days = [[day_number(end, there.zone) for end in (at.lo, at.hi)] for at in (later, earlier)]
    expected = ages.age_days(*(Interval.one(*ends) for ends in days))
    found = NewbornAges(there).days(later)
    assert (found.span(), found.exact) == (expected.span(), expected.exact)


UNITS = [("g", "kg"), ("[oz_av]", "g"), ("mg/dL", "umol/L"), ("wk", "d"), ("[degF]", "Cel"), ("Cel", "[degF]")]
ends = st.none() | fractions(-1000, 1000, 100)


@pytest.mark.parametrize(("unit", "to"), UNITS)
@given(pair=st.tuples(ends, ends).map(lambda p: p if None in p else (min(p), max(p))))
def test_an_interval_is_converted_end_by_end(unit: str, to: str, pair: tuple[Fraction | None, Fraction | None]) -> None:
    expected = tuple(None if end is None else convert(end, unit, to) for end in pair)
    assert converted(Interval.one(*pair), unit, to).span() == expected


def test_units_of_different_things_are_refused() -> None:
    with pytest.raises(UnitMismatchError, match="cannot be turned into"):
        converted(Interval.one(1, 1), "g", "cm")
