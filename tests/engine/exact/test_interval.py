"""Intervals hold every number that could be, exactly: compared with fractions.Fraction and by containment."""

import operator
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.seeds import fractions

from layette.engine.exact import arithmetic as ar
from layette.engine.exact.interval import Interval, Ratio, floats, floors

QUICK = settings(max_examples=40, deadline=None)
numbers = fractions(-(10**6), 10**6, 3600)
positive = fractions(0, 10**6, 3600).filter(bool)


def spans(of=numbers):
    """Spans, with open ends, around a number that they hold."""
    end = st.one_of(st.none(), of)
    return st.tuples(of, end, end).map(
        lambda t: (
            t[0],
            (
                None if t[1] is None else min(t[0], t[1]),
                None if t[2] is None else max(t[0], t[2]),
            ),
        )
    )


def holds(span, number):
    low, high = span
    return (low is None or low <= number) and (high is None or number <= high)


def within(narrow, wide):
    def low(x):
        return float("-inf") if x is None else x

    def high(x):
        return float("inf") if x is None else x

    return low(wide[0]) <= low(narrow[0]) and high(narrow[1]) <= high(wide[1])


TWO = [
    (ar.add, operator.add),
    (ar.subtract, operator.sub),
    (ar.absolute_difference, lambda a, b: abs(a - b)),
    (ar.minimum, min),
    (ar.maximum, max),
]


@pytest.mark.parametrize(("ours", "plain"), TWO)
@QUICK
@given(a=spans(), b=spans())
def test_holds_the_answer_and_grows_with_its_inputs(ours, plain, a, b):
    (x, wide_x), (y, wide_y) = a, b
    exact = ours(Interval.of([(x, x)]), Interval.of([(y, y)]))
    assert exact.exact
    assert exact.spans() == [(plain(x, y), plain(x, y))]
    (wide,) = ours(Interval.of([wide_x]), Interval.of([wide_y])).spans()
    (half,) = ours(Interval.of([(x, x)]), Interval.of([wide_y])).spans()
    assert holds(wide, plain(x, y))
    assert within(half, wide)


@pytest.mark.parametrize(("ours", "plain"), TWO)
@QUICK
@given(a=spans(), b=spans())
def test_is_no_wider_than_it_must(ours, plain, a, b):
    (_, x), (_, y) = a, b
    if None in (*x, *y):
        return
    (found,) = ours(Interval.of([x]), Interval.of([y])).spans()
    corners = [plain(p, q) for p in x for q in y]
    low = 0 if ours is ar.absolute_difference and x[0] <= y[1] and y[0] <= x[1] else min(corners)
    assert found == (low, max(corners))


@QUICK
@given(a=spans(), b=spans(positive))
def test_divide_by_positive(a, b):
    (x, wide_x), (y, wide_y) = a, b
    assert ar.divide(Interval.of([(x, x)]), Interval.of([(y, y)])).spans() == [(x / y, x / y)]
    (wide,) = ar.divide(Interval.of([wide_x]), Interval.of([wide_y])).spans()
    assert holds(wide, x / y)
    if None not in wide_x and wide_y[0] is not None and wide_y[1] is not None:
        corners = [p / q for p in wide_x for q in wide_y]
        assert wide == (min(corners), max(corners))


@QUICK
@given(a=spans(), b=spans(positive))
def test_multiply_by_positive(a, b):
    (x, wide_x), (y, wide_y) = a, b
    if None in wide_y:
        wide_y = (y, y)
    (wide,) = ar.multiply(Interval.of([wide_x]), Interval.of([wide_y])).spans()
    assert holds(wide, x * y)


@pytest.mark.parametrize(
    ("top", "bottom", "answer"),
    [
        ((1, 1), (0, 0), (None, None)),
        ((0, 0), (0, 0), (None, None)),
        ((1, 2), (0, 4), (Fraction(1, 4), None)),
        ((-2, -1), (0, 4), (None, Fraction(-1, 4))),
        ((1, 2), (-1, 4), (None, None)),
        ((None, None), (None, None), (None, None)),
        ((1, 2), (4, None), (0, Fraction(1, 2))),
    ],
)
def test_divide_at_the_edges(top, bottom, answer):
    def fractions(span):
        return tuple(None if end is None else Fraction(end) for end in span)

    assert ar.divide(Interval.of([fractions(top)]), Interval.of([fractions(bottom)])).spans() == [fractions(answer)]


@QUICK
@given(a=spans(), by=numbers.filter(bool))
def test_scale(a, by):
    x, wide = a
    (found,) = ar.scale(Interval.of([wide]), by).spans()
    assert holds(found, x * by)
    assert found.count(None) == wide.count(None)


COMPARE = [
    (ar.at_least, operator.ge),
    (ar.more_than, operator.gt),
    (ar.at_most, operator.le),
    (ar.below, operator.lt),
]


@pytest.mark.parametrize(("ours", "plain"), COMPARE)
@QUICK
@given(a=spans(), b=spans())
def test_must_and_may(ours, plain, a, b):
    (x, wide_x), (y, wide_y) = a, b
    must, may = ours(Interval.of([(x, x)]), Interval.of([(y, y)]))
    assert bool(must[0]) is bool(may[0]) is plain(x, y)
    must, may = ours(Interval.of([wide_x]), Interval.of([wide_y]))
    assert must[0] <= plain(x, y) <= may[0]


@pytest.mark.parametrize("ours", [ours for ours, _ in COMPARE])
def test_nothing_known_decides_nothing(ours):
    must, may = ours(Interval.unknown(1), Interval.unknown(1))
    assert (bool(must[0]), bool(may[0])) == (False, True)


@QUICK
@given(st.lists(spans(), min_size=1, max_size=5))
def test_hull_and_spans(items):
    wide = [span for _, span in items]
    a, b = Interval.of(wide), Interval.of([(x, x) for x, _ in items])
    assert a.spans() == wide
    assert ar.hull(a, b).spans() == wide


def test_equal_ends_are_shared_so_that_work_is_done_once():
    assert Interval.of([(Fraction(1), Fraction(1))]).exact
    assert not Interval.of([(Fraction(1), Fraction(2))]).exact
    with pytest.raises(ValueError, match="low end"):
        Interval.of([(Fraction(2), Fraction(1))])
    with pytest.raises(ValueError, match="scale by 0"):
        ar.scale(Interval.unknown(1), Fraction(0))


@QUICK
@given(st.lists(st.integers(-(2**62), 2**62), min_size=1, max_size=4), st.integers(1, 10**6))
def test_a_cohort_never_overflows(values, scale):
    a = Interval.from_integers(np.array(values, dtype=np.int64), scale=scale)
    square = ar.multiply(ar.absolute_difference(a, ar.negate(a)), a)
    expected = [abs(2 * Fraction(v, scale)) * Fraction(v, scale) for v in values]
    assert [low for low, _ in square.spans()] == expected


def test_a_cohort_with_unknowns():
    values, known = np.array([10, 20, 30]), np.array([True, False, True])
    cohort = Interval.from_integers(values, scale=10, lo_known=known, hi_known=known)
    assert cohort.spans() == [(1, 1), (None, None), (3, 3)]
    open_above = Interval.from_integers(values, scale=10, hi_known=known)
    assert open_above.spans() == [(1, 1), (2, None), (3, 3)]
    assert cohort.take(np.array([2])).spans() == [(3, 3)]
    assert cohort.size == 3


def test_one_visit_is_plain_numbers_and_can_stand_beside_a_cohort():
    visit = Interval.one(Fraction(1, 2), Fraction(1, 2))
    both = ar.add(visit, Interval.one(1, 2))
    assert [type(x) for end in both for x in end] == [int] * 4
    assert both.span() == (Fraction(3, 2), Fraction(5, 2))
    assert (both.size, both.exact, visit.exact, Interval.one(None, None).blank) == (None, False, True, True)
    cohort = ar.add(Interval.from_integers(np.array([1, 2]), np.array([1, 3])), visit)
    assert cohort.spans() == [(Fraction(3, 2), Fraction(3, 2)), (Fraction(5, 2), Fraction(7, 2))]
    assert ar.add(cohort, Interval.one(None, None)).spans() == [(None, None)] * 2


def test_floors_and_floats():
    ends = Ratio(np.array([-1, 7, -7, 1], dtype=object), np.array([0, 2, 2, 0], dtype=object))
    assert floors(ends, -9, 9).tolist() == [-9, 3, -4, 9]
    assert floats(ends).tolist() == [float("-inf"), 3.5, -3.5, float("inf")]
