"""Ages, losses, gains: exact where the day or the percent is exact, intervals where a time is."""

from dataclasses import replace
from datetime import date
from fractions import Fraction
from types import SimpleNamespace

import pytest

from layette.engine.exact.arithmetic import at_least, more_than
from layette.engine.exact.interval import Interval
from layette.engine.exact.times import moment, zone_of
from layette.engine.measures import REGISTRY, ages, change
from layette.engine.states.measures import month_from_july


def exactly(*values):
    return Interval.of([(Fraction(v), Fraction(v)) for v in values])


def between(low, high):
    return Interval.of([(Fraction(low), Fraction(high))])


def test_age_is_elapsed_time():
    assert ages.age(exactly(90000), exactly(0)).spans() == [(25, 25)]
    assert ages.age(exactly(1), exactly(0)).spans() == [(Fraction(1, 3600), Fraction(1, 3600))]


def test_a_birth_date_without_a_time_gives_an_interval_of_ages():
    born = between(0, 86399)
    assert ages.age(exactly(86400 * 2), born).spans() == [(24 + Fraction(1, 3600), 48)]
    assert ages.age(exactly(0), Interval.unknown(1)).spans() == [(None, None)]


def test_calendar_days_and_age_after_an_early_birth():
    born, at = date(2026, 1, 30).toordinal(), date(2026, 2, 2).toordinal()
    days = ages.age_days(exactly(at), exactly(born))
    assert days.spans() == [(3, 3)]
    assert ages.corrected_age(days, exactly(252)).spans() == [(-25, -25)]
    assert ages.postmenstrual_age(days, between(252, 254)).spans() == [(255, 257)]


def test_time_left_is_exact_and_negative_once_the_window_is_closed():
    day = exactly(24)
    assert ages.time_left(exactly(24, 25, "13.25"), day).spans() == [
        (0, 0),
        (-1, -1),
        (Fraction("10.75"), Fraction("10.75")),
    ]
    assert ages.time_left(between(20, 44), day).spans() == [(-20, 4)]
    assert ages.time_left(Interval.unknown(1), day).spans() == [(None, None)]


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        ("70.84", "70.84", "70 h 50 min left of 24 h from birth"),
        (0, 0, "0 h 0 min left of 24 h from birth"),
        ("3.99", "20.5", "3 h 59 min to 20 h 30 min left of 24 h from birth"),
        (-7, 17, "may be closed; at most 17 h 0 min left of 24 h from birth"),
        ("-2.5", "-2.5", "closed 2 h 30 min ago, 24 h from birth"),
        (-26, "-2.01", "closed 2 h 0 min to 26 h 0 min ago, 24 h from birth"),
        (None, 3, "24 h from birth"),
    ],
)
def test_time_left_is_told_in_hours_and_minutes(low, high, told):
    left = Interval.one(*(None if end is None else Fraction(end) for end in (low, high)))
    assert REGISTRY["time_left"].basis(left, {"until": "24 h"}) == told


@pytest.mark.parametrize("birth", range(2000, 5001, 50))
def test_a_loss_of_exactly_ten_percent(birth):
    loss = change.percent_lost(exactly(Fraction(birth * 9, 10)), exactly(birth))
    assert loss.spans() == [(10, 10)]
    assert at_least(loss, exactly(10))[0][0]
    assert not more_than(loss, exactly(10))[1][0]


def test_percent_lost_of_intervals_is_no_wider_than_it_must():
    """Each weight stands once in the formula: the ends are those of the corners."""
    loss = change.percent_lost(between(3, 4), between(4, 5))
    assert loss.spans() == [(0, 40)]
    assert change.percent_lost(Interval.unknown(1), exactly(3)).spans() == [(None, None)]
    assert change.percent_lost(exactly(3), Interval.unknown(1)).spans() == [(None, None)]


def test_gain_per_day_in_grams():
    days = ages.elapsed_days(exactly(86400 * 5 // 2), exactly(0))
    assert change.gain_per_day(exactly("3.075"), exactly("3.000"), days).spans() == [(30, 30)]
    assert change.gain_per_day(exactly(3), exactly(2), exactly(0)).spans() == [(None, None)]


def test_differences():
    assert change.difference(exactly(98), exactly(95)).spans() == [(3, 3)]
    assert change.absolute_difference(exactly(95), between(94, 98)).spans() == [(0, 3)]


def test_change_per_hour_with_an_uncertain_time():
    hours = between(10, 20)
    assert change.change_per_hour(exactly(12), exactly(8), hours).spans() == [(Fraction(1, 5), Fraction(2, 5))]
    assert change.change_per_hour(exactly(8), exactly(12), hours).spans() == [(Fraction(-2, 5), Fraction(-1, 5))]


def test_the_registry_calls_by_the_packs_names():
    loss = REGISTRY["percent_lost"](**{"of": exactly(3150), "from": exactly(3500)})
    assert loss.spans() == [(10, 10)]
    assert list(REGISTRY["percent_lost"].arguments) == ["of", "from_"]


@pytest.mark.parametrize(
    ("born", "month"),
    [("2026-07-01", (0, 0)), ("2026-10-31", (3, 3)), ("2027-01-01", (6, 6)), ("2026-06-30", (11, 11))],
)
def test_the_month_of_birth_counts_from_july_by_the_local_calendar(born: str, month: tuple[int, int]) -> None:
    assert month_of(f"{born}T00:30:00-06:00") == month


def test_a_birth_that_may_lie_in_two_months_is_both_and_over_the_turn_of_the_count_nothing() -> None:
    zone = zone_of("2026-11-01T00:00:00-06:00")
    october = moment("2026-10-31", zone)
    both = replace(october, hi=october.hi + 7200)
    assert month_from_july(SimpleNamespace(born=both, zone=zone)).span() == (3, 4)
    june = moment("2026-06-30", zone)
    assert month_from_july(SimpleNamespace(born=replace(june, hi=june.hi + 7200), zone=zone)).blank


def month_of(born: str) -> tuple[int, int]:
    zone = zone_of(born)
    low, high = month_from_july(SimpleNamespace(born=moment(born, zone), zone=zone)).span()
    assert low is not None
    assert high is not None
    return int(low), int(high)
