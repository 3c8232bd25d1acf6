"""The treatment lines of NICE guideline CG98 (2010, updated 2023), threshold table for 38 weeks and later.

Every printed point of both lines, read from the pack's CSV; a bilirubin is treated when it is ABOVE the value.
Worked examples: 39 weeks, 48 h, 260 umol/L (phototherapy, no exchange); 24 h, 200 umol/L (not above 200); 37 weeks must
not use this table (Noureldein et al., Arch Dis Child Fetal Neonatal Ed 2023, archdischild-2022-325075).
"""

import csv
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

from layette.engine.exact.interval import Interval
from layette.engine.measures.thresholds import beyond, threshold

CSV = Path(__file__).parents[2] / "rules/newborn/tables/nice-cg98.csv"
POINTS = list(csv.DictReader(s for s in CSV.read_text(encoding="utf-8").splitlines() if not s.startswith("#")))
LINES = ("phototherapy", "exchange")
PRINTED = [(line, int(p["age_hours"]), int(p[f"{line}_gt_umol_l"])) for p in POINTS for line in LINES]
WEEKS_38, WEEKS_39, WEEKS_37 = 266, 273, 265


def exactly(value):
    return Interval.of([(Fraction(value), Fraction(value))])


def line_at(nice, line, age, gestation_days=WEEKS_39):
    ((low, high),) = threshold(nice, line, exactly(age), exactly(gestation_days)).spans()
    return low, high


def test_the_table_is_whole():
    assert [p["age_hours"] for p in POINTS] == [str(h) for h in range(0, 97, 6)]


@pytest.mark.parametrize(("line", "age", "value"), PRINTED)
def test_every_printed_point_is_on_the_line_and_not_beyond_it(line, age, value, table):
    nice = table("nice-cg98")
    assert line_at(nice, line, age) == (value, value)
    at = threshold(nice, line, exactly(age), exactly(WEEKS_38))
    for above, expected in ((0, False), (Fraction(1, 100), True), (-1, False)):
        must, may = beyond(exactly(value + above), at, nice.strict)
        assert (bool(must[0]), bool(may[0])) == (expected, expected)


@pytest.mark.parametrize("line", LINES)
def test_phototherapy_is_straight_between_the_points_and_exchange_goes_in_steps(line, table):
    """Printed page 133 of the full guideline of 2010: exchange before 42 h in stepwise rises every 6 h."""
    nice = table("nice-cg98")
    points = [p for p in PRINTED if p[0] == line]
    for (_, a, low), (_, b, high) in pairwise(points):
        for part in (Fraction(1, 3), Fraction(1, 2), Fraction(359, 360)):
            expected = low + (high - low) * part if line == "phototherapy" else low
            assert line_at(nice, line, a + (b - a) * part) == (expected, expected)


@pytest.mark.parametrize(
    ("age", "consider", "repeat"),
    [(24, 150, 100), (30, 162, 112), (36, 175, 125), (42, 187, 137), (48, 200, 150)],
)
def test_fifty_below_the_line_is_where_the_guideline_of_2010_considered_treatment(age, consider, repeat, table):
    """Printed page 135 of the full guideline of 2010, rows of 24 to 48 h, read to there."""
    low, _ = line_at(table("nice-cg98"), "phototherapy", age)
    assert (low - 50, low - 100) == (consider, repeat)


def test_a_point_printed_rounded_down_holds_as_printed(table):
    assert line_at(table("nice-cg98"), "phototherapy", 30) == (212, 212)


def test_the_last_row_holds_to_fourteen_days_and_no_longer(table):
    nice = table("nice-cg98")
    for age in (96, Fraction(289, 3), 200, 336):
        assert line_at(nice, "phototherapy", age) == (350, 350)
        assert line_at(nice, "exchange", age) == (450, 450)
    assert line_at(nice, "phototherapy", 336 + Fraction(1, 3600)) == (None, None)
    assert line_at(nice, "phototherapy", -1) == (None, None)


def test_worked_examples_at_48_and_24_hours(table):
    nice = table("nice-cg98")
    must, _ = beyond(exactly(260), threshold(nice, "phototherapy", exactly(48), exactly(WEEKS_39)), nice.strict)
    _, may = beyond(exactly(260), threshold(nice, "exchange", exactly(48), exactly(WEEKS_39)), nice.strict)
    assert must[0]
    assert not may[0]
    _, may = beyond(exactly(200), threshold(nice, "phototherapy", exactly(24), exactly(WEEKS_39)), nice.strict)
    assert not may[0]


@pytest.mark.parametrize("gestation", [WEEKS_37, 245, 0])
def test_below_38_weeks_above_the_line_fires_and_below_it_is_undecided(gestation, table):
    nice = table("nice-cg98")
    assert line_at(nice, "phototherapy", 72, gestation) == (None, 300)
    at = threshold(nice, "phototherapy", exactly(72), exactly(gestation))
    must, may = beyond(exactly(290), at, nice.strict)
    assert (bool(must[0]), bool(may[0])) == (False, True)
    must, may = beyond(exactly(301), at, nice.strict)
    assert (bool(must[0]), bool(may[0])) == (True, True)


def test_unknown_gestation_answers_as_below_38_weeks(table):
    nice = table("nice-cg98")
    unknown = threshold(nice, "exchange", exactly(48), Interval.unknown(1))
    assert unknown.spans() == [(None, 450)]


def test_completed_weeks_select_the_line(table):
    nice = table("nice-cg98")
    assert line_at(nice, "phototherapy", 72, WEEKS_38) == (300, 300)
    assert line_at(nice, "phototherapy", 72, 300) == (300, 300)
