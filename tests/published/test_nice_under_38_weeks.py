"""The formula of NICE guideline CG98 (2010) for 35 to 37 weeks, and that its lines are one-way.

Exchange from 72 h on, weeks x 10, is read (printed page 133 of the full guideline); the phototherapy line (weeks x 10
- 100 at 72 h, from 40 at birth) and exchange before 72 h (from 80 at birth) are from memory. The values by hour below
were worked out by hand from the formula and rounded down. 37 weeks has much lower lines than 38 (Noureldein et al.,
Arch Dis Child Fetal Neonatal Ed 2023, archdischild-2022-325075, abstract).
"""

from fractions import Fraction
from math import floor

import pytest

from layette.engine.exact.interval import Interval
from layette.engine.measures.thresholds import beyond, threshold

BY_HOUR = [
    (0, 40, 40, 40, 80, 80, 80), (6, 57, 58, 59, 102, 103, 104), (12, 75, 76, 78, 125, 126, 128),
    (18, 92, 95, 97, 147, 150, 152), (24, 110, 113, 116, 170, 173, 176), (30, 127, 131, 135, 192, 196, 200),
    (36, 145, 150, 155, 215, 220, 225), (42, 162, 168, 174, 237, 243, 249), (48, 180, 186, 193, 260, 266, 273),
    (54, 197, 205, 212, 282, 290, 297), (60, 215, 223, 231, 305, 313, 321), (66, 232, 241, 250, 327, 336, 345),
    (72, 250, 260, 270, 350, 360, 370), (96, 250, 260, 270, 350, 360, 370),
]  # fmt: skip
"""Age in hours; phototherapy at 35, 36 and 37 weeks; exchange at 35, 36 and 37 weeks, in umol/L."""


def exactly(value):
    return Interval.of([(Fraction(value), Fraction(value))])


def line_of(early, line, age, weeks):
    return threshold(early, line, exactly(age), exactly(weeks * 7))


@pytest.mark.parametrize("row", BY_HOUR, ids=lambda row: f"{row[0]} h")
def test_every_hour_of_the_formula(row, table):
    early = table("nice-under-38-weeks")
    age, *values = row
    lines = [(line, weeks) for line in ("phototherapy", "exchange") for weeks in (35, 36, 37)]
    assert [floor(line_of(early, line, age, weeks).spans()[0][1]) for line, weeks in lines] == values


@pytest.mark.parametrize("line", ["phototherapy", "exchange"])
def test_above_a_line_is_known_and_below_it_never(line, table):
    early = table("nice-under-38-weeks")
    at = line_of(early, line, 72, 36)
    top = at.spans()[0][1]
    for value, expected in ((top + 1, (True, True)), (top, (False, True)), (1, (False, True))):
        must, may = beyond(exactly(value), at, early.strict)
        assert (bool(must[0]), bool(may[0])) == expected


def test_completed_weeks_choose_the_line(table):
    early = table("nice-under-38-weeks")
    days = [threshold(early, "exchange", exactly(72), exactly(day)).spans()[0][1] for day in (245, 251, 252, 265)]
    assert days == [350, 350, 360, 370]


def test_37_weeks_lies_far_below_38(table):
    early, nice = table("nice-under-38-weeks"), table("nice-cg98")
    lower = line_of(early, "phototherapy", 96, 37).spans()[0][1]
    assert (lower, line_of(nice, "phototherapy", 96, 38).spans()[0][1]) == (270, 350)
