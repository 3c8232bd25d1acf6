"""Treatment lines of an invented set with a risk split: which lines are possible, what lies beyond them."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.invented_lines import INVENTED, LINES
from support.seeds import fractions

from layette.engine.exact.interval import Interval
from layette.engine.measures.thresholds import Curve, beyond, lowest, margin, threshold
from layette.engine.tables.set_safety import value_at

QUICK = settings(max_examples=60, deadline=None)


def exactly(*values):
    return Interval.of([(Fraction(v), Fraction(v)) for v in values])


def between(low, high):
    return Interval.of([(None if low is None else Fraction(low), None if high is None else Fraction(high))])


def at(age, days, risk=None, line="phototherapy"):
    flags = None if risk is None else np.array([risk])
    ((low, high),) = threshold(INVENTED, line, age, days, flags).spans()
    return low, high


def plain(week, risk, age, line="phototherapy"):
    """The straight line through the printed points, once more, one number at a time."""
    low = (min(week, 37) - 35) * 10 + (0 if risk == "present" else 25) + (100 if line == "exchange" else 0)
    if age <= 7:
        return (50 + low + Fraction(40, 7) * age) / 10
    return (90 + low + Fraction(95, 89) * (min(age, 96) - 7)) / 10


def test_risk_present_none_and_unknown():
    age, days = exactly(96), exactly(36 * 7)
    assert at(age, days, 1) == (Fraction("19.5"), Fraction("19.5"))
    assert at(age, days, 0) == (22, 22)
    assert at(age, days, -1) == at(age, days) == (Fraction("19.5"), 22)


def test_gestation_counts_completed_weeks_and_the_last_line_holds_for_later_weeks():
    assert at(exactly(0), exactly(36 * 7 + 6), 0) == at(exactly(0), exactly(36 * 7), 0)
    assert at(exactly(0), exactly(42 * 7), 0) == at(exactly(0), exactly(37 * 7), 0)
    assert at(exactly(0), between(35 * 7, 36 * 7), 1) == (5, 6)


def test_below_the_lowest_gestation_and_unknown():
    assert at(exactly(0), exactly(34 * 7 + 6), 1) == (None, 5)
    assert at(exactly(0), between(34 * 7, 36 * 7), 1) == (None, 6)
    assert at(exactly(0), Interval.unknown(1), 1) == (None, 7)


def test_outside_the_hours_covered_there_is_no_line():
    assert at(exactly(337), exactly(252), 0) == (None, None)
    assert at(between(300, 337), exactly(252), 0) == (None, None)
    assert at(Interval.unknown(1), exactly(252), 0) == (None, None)
    assert at(between(-5, 7), exactly(252), 1) == (6, 10)
    with pytest.raises(KeyError):
        at(exactly(1), exactly(252), 0, "no-such-line")


ages = fractions(0, 336, 3600)


@QUICK
@given(st.lists(ages, min_size=3, max_size=3).map(sorted), st.integers(245, 290), st.sampled_from([0, 1]))
def test_exact_and_contained(three, days, risk):
    low, age, high = three
    expected = plain(days // 7, ("none", "present")[risk], age)
    assert at(exactly(age), exactly(days), risk) == (expected, expected)
    for wide in (
        at(between(low, high), exactly(days), risk),
        at(exactly(age), between(days - 5, days + 20), risk),
        at(exactly(age), exactly(days), -1),
        at(between(low, high), Interval.unknown(1), -1),
    ):
        assert wide[0] is None or wide[0] <= expected
        assert expected <= wide[1]


def test_a_cohort_gives_what_visits_give():
    rng = np.random.default_rng(1)
    seconds, days, risks = rng.integers(0, 340 * 3600, 300), rng.integers(230, 300, 300), rng.integers(-1, 2, 300)
    cohort = threshold(
        INVENTED,
        "exchange",
        Interval.from_integers(seconds, scale=3600),
        Interval.from_integers(days),
        risks,
    ).spans()
    for i in range(300):
        one = at(exactly(Fraction(int(seconds[i]), 3600)), exactly(int(days[i])), int(risks[i]), "exchange")
        assert one == cohort[i]


def test_exact_ages_stay_exact_and_an_empty_cohort_is_empty():
    some = threshold(INVENTED, LINES[0], exactly(1, 2), exactly(252, 266), np.array([0, 1]))
    assert some.exact
    empty = Interval.from_integers(np.array([], dtype=np.int64))
    assert threshold(INVENTED, LINES[0], empty, empty).spans() == []


def test_points_printed_finely_do_not_overflow():
    curve = Curve.through([(0, 10**11, 1), (10**9, 3 * 10**11, 2)], 10**6, 10**6, straight=True)
    assert value_at(curve, Fraction(500)) == 2 * 10**5
    assert value_at(curve, Fraction(1, 3600)) == 10**5 + Fraction(200, 3600)


def test_a_stepped_set_holds_each_value_to_the_next():
    curve = Curve.through([(0, 10, 1), (24, 15, 2)], 1, 1, straight=False)
    assert [value_at(curve, Fraction(h)) for h in (0, Fraction(239, 10), 24, 300)] == [10, 10, 15, 15]


@pytest.mark.parametrize(
    ("value", "strict", "less", "answer"),
    [
        (20, False, None, (True, True)),
        (20, True, None, (False, False)),
        (18, False, Fraction(2), (True, True)),
        (18, True, Fraction(2), (False, False)),
        (Fraction("17.9"), False, Fraction(2), (False, False)),
    ],
)
def test_beyond_takes_the_sets_comparison(value, strict, less, answer):
    must, may = beyond(exactly(value), exactly(20), strict, less)
    assert (bool(must[0]), bool(may[0])) == answer


def test_an_open_line_fires_above_and_is_undecided_below():
    open_line = between(None, 20)
    for value, answer in ((21, (True, True)), (19, (False, True))):
        must, may = beyond(exactly(value), open_line, strict=True)
        assert (bool(must[0]), bool(may[0])) == answer
    must, may = beyond(exactly(18), open_line, strict=True, less=Fraction(2))
    assert (bool(must[0]), bool(may[0])) == (False, True)


def test_margin():
    assert margin(exactly(22), exactly(20)).spans() == [(2, 2)]
    assert margin(exactly(22), between(None, 20)).spans() == [(2, None)]


def one(low, high):
    return Interval.one(low, high)


@pytest.mark.parametrize(
    ("days", "younger", "expected"),
    [
        ((36 * 7, 36 * 7), None, (10, 10)),
        ((34 * 7, 34 * 7), None, None),
        ((None, None), None, None),
        ((34 * 7, 34 * 7), INVENTED, (9, 9)),
        ((34 * 7, 36 * 7), INVENTED, (9, 10)),
        ((None, None), INVENTED, (9, 11)),
    ],
)
def test_the_lowest_line_that_one_newborn_may_have(days, younger, expected):
    """At 7 h with a risk; where the younger set begins, its first line stands for all who are younger."""
    found = lowest(INVENTED, younger, "phototherapy", one(7, 7), one(*days), 1)
    assert (found and found.span()) == expected


def test_the_lowest_line_outside_the_hours_covered_is_that_of_the_nearest_hour():
    days = one(280, 280)
    for age, nearest in (((400, 400), 336), ((-3, -3), 0), ((300, None), 300)):
        there = threshold(INVENTED, "exchange", one(nearest, nearest), days, 0)
        assert lowest(INVENTED, None, "exchange", one(*age), days, 0).span()[0] == there.span()[0]
