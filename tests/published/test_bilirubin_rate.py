"""Rate of rise against the limits of Kemper et al., Pediatrics 2022;150(3):e2022058859.

Rapid is 0.3 mg/dL an hour or more in the first 24 h, 0.2 or more after. Worked example: 8.0 at 30 h and 11.0 at 50 h is
0.15 an hour: not rapid. A rise of exactly the limit is rapid: floats miss it in about four of ten cases.
"""

from fractions import Fraction

import numpy as np

from layette.engine.exact.arithmetic import at_least
from layette.engine.exact.interval import Interval
from layette.engine.measures.ages import elapsed_hours
from layette.engine.measures.change import change_per_hour


def exactly(*values):
    return Interval.of([(Fraction(v), Fraction(v)) for v in values])


def test_worked_example():
    rise = change_per_hour(exactly("11.0"), exactly("8.0"), exactly(20))
    assert rise.spans() == [(Fraction(3, 20), Fraction(3, 20))]
    must, may = at_least(rise, exactly("0.2"))
    assert not must[0]
    assert not may[0]


def test_every_rise_of_exactly_a_limit_reaches_it_and_a_second_later_does_not():
    for limit in (Fraction(2, 10), Fraction(3, 10)):
        pairs = [(first, hours) for first in range(10, 160) for hours in range(5, 50, 5)]
        earlier = exactly(*(Fraction(first, 10) for first, _ in pairs))
        later = exactly(*(Fraction(first, 10) + limit * hours for first, hours in pairs))
        for late, expected in ((0, True), (1, False)):
            start = exactly(*[0] * len(pairs))
            hours = elapsed_hours(exactly(*(3600 * h + late for _, h in pairs)), start)
            must, may = at_least(change_per_hour(later, earlier, hours), exactly(limit))
            assert (must == expected).all()
            assert (may == expected).all()


def test_a_cohort_of_integers_gives_the_same():
    later, earlier = np.array([110, 120]), np.array([80, 80])
    hours = Interval.from_integers(np.array([72000, 72000]), scale=3600)
    rise = change_per_hour(Interval.from_integers(later, scale=10), Interval.from_integers(earlier, scale=10), hours)
    assert rise.lo.num.dtype == np.int64
    assert at_least(rise, exactly("0.2"))[0].tolist() == [False, True]
