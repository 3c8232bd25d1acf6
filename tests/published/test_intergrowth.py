"""Size at birth against the printed INTERGROWTH-21st percentiles.

Villar et al., Lancet 2014;384:857-68; Villar et al., Lancet 2016;387:844-5. Worked example: a boy of 40+0 with
2.60 kg lies below the printed P3 of 2.63 kg, so he is small for gestational age.
"""

from fractions import Fraction

import numpy as np
import pytest

from layette.engine.exact.interval import Interval
from layette.engine.measures.birth_size import size_for_gestation

TABLES = ("intergrowth-21st-weight", "intergrowth-21st-length", "intergrowth-21st-head")
BANDS = (
    "below_p3",
    "p3_to_p5",
    "p5_to_p10",
    "p10_to_p50",
    "p50_to_p90",
    "p90_to_p95",
    "p95_to_p97",
    "above_p97",
)


def exactly(*values):
    return Interval.of([(Fraction(v), Fraction(v)) for v in values])


def named(possible, standard):
    return [{band for band, here in zip(standard.bands, row, strict=True) if here} for row in possible]


def test_worked_example(table):
    standard = table("intergrowth-21st-weight")
    assert standard.bands == BANDS
    boys = np.array([0, 0, 0])
    found = size_for_gestation(exactly("2.60", "2.63", "2.62"), boys, exactly(280, 280, 280), standard)
    assert named(found, standard) == [{"below_p3"}, {"p3_to_p5"}, {"below_p3"}]


@pytest.mark.parametrize("name", TABLES)
def test_every_printed_percentile_is_its_own_edge(name, table):
    """On the printed number: the band on the side of the median. Just off it: the band of that side."""
    standard = table(name)
    days = exactly(*range(168, 301))
    for sex in (0, 1):
        sexes = np.full(133, sex)
        for column, percentile in enumerate(standard.percentiles):
            printed = [Fraction(int(v), standard.scale) for v in standard.printed[sex, :, column]]
            on = size_for_gestation(exactly(*printed), sexes, days, standard)
            edge = Fraction(1, 10**6)
            under = size_for_gestation(exactly(*(v - edge for v in printed)), sexes, days, standard)
            over = size_for_gestation(exactly(*(v + edge for v in printed)), sexes, days, standard)
            assert on.sum(axis=1).tolist() == [1] * 133
            assert (under.argmax(axis=1) <= column).all()
            assert (over.argmax(axis=1) >= column + 1).all()
            assert (on == (over if percentile <= 50 else under)).all()


def test_printed_percentiles_of_one_day(table):
    """24+0, boys, as printed: 0.44 0.46 0.50 0.64 0.82 0.88 0.92 kg."""
    standard = table("intergrowth-21st-weight")
    printed = ["0.44", "0.46", "0.50", "0.64", "0.82", "0.88", "0.92", "0.43", "0.93"]
    found = size_for_gestation(exactly(*printed), np.zeros(9, int), exactly(*[168] * 9), standard)
    assert [band for (band,) in map(tuple, named(found, standard))] == [
        "p3_to_p5",
        "p5_to_p10",
        "p10_to_p50",
        "p50_to_p90",
        "p50_to_p90",
        "p90_to_p95",
        "p95_to_p97",
        "below_p3",
        "above_p97",
    ]
