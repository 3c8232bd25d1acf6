"""A measure of one visit, in plain Python numbers, is what it is for that visit within a cohort's arrays."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.invented_lines import INVENTED

from layette.engine.exact import arithmetic as ar
from layette.engine.exact.interval import Interval
from layette.engine.measures import REGISTRY, ages
from layette.engine.measures.birth_size import size_for_gestation
from layette.engine.measures.growth import LmsTable, centile, zscore
from layette.engine.measures.input_kinds import AgeAt, AmountOfTime, Of, Pair, TimeOf
from layette.engine.measures.steps import expected_count, feed_volume_per_day, feed_volume_per_feed
from layette.engine.measures.thresholds import beyond, threshold

MANY = settings(max_examples=50, deadline=None)


def ends(least, most, denominator):
    """Spans of numbers that may be exact, wide, or open on either side."""
    number = st.integers(least * denominator, most * denominator).map(lambda n: Fraction(n, denominator))
    pair = st.tuples(number, number).map(lambda t: (min(t), max(t)))
    return st.one_of(
        number.map(lambda n: (n, n)),
        pair,
        st.sampled_from([(True, False), (False, True), (True, True)]).flatmap(
            lambda unbounded: pair.map(
                lambda p: tuple(None if gone else end for end, gone in zip(p, unbounded, strict=True))
            )
        ),
    )


def agree(function, *columns):
    """Compare a function of single intervals and flags with the same function of arrays of them."""
    rows = list(zip(*columns, strict=True))
    stacked = [np.array(column) if isinstance(column[0], int) else Interval.of(column) for column in columns]
    together = function(*stacked)
    for i, row in enumerate(rows):
        alone = function(*(cell if isinstance(cell, int) else Interval.one(*cell) for cell in row))
        if isinstance(alone, Interval):
            assert alone.span() == together.spans()[i]
            assert all(type(x) is int for end in alone for x in end)
        else:
            assert list(alone) == [part[i] for part in together]


def visits(*kinds):
    return st.lists(st.tuples(*kinds), min_size=1, max_size=4).map(lambda rows: tuple(zip(*rows, strict=True)))


numbers, amounts = ends(-50, 50, 36), ends(1, 50, 36)
sexes, flags = st.integers(-1, 1), st.integers(-1, 1)

PLAIN = [ar.add, ar.subtract, ar.absolute_difference, ar.minimum, ar.maximum, ar.hull, ar.divide]


@pytest.mark.parametrize("function", PLAIN)
@MANY
@given(visits(numbers, numbers))
def test_arithmetic(function, columns):
    agree(function, *columns)


@pytest.mark.parametrize("function", [ar.at_least, ar.more_than, ar.at_most, ar.below])
@MANY
@given(visits(numbers, numbers))
def test_comparisons(function, columns):
    agree(function, *columns)


NUMBERS = (Of, AgeAt, TimeOf, Pair, AmountOfTime)
CHANGES = [name for name, found in REGISTRY.items() if all(isinstance(one, NUMBERS) for one in found.inputs)]


@pytest.mark.parametrize("name", CHANGES)
@MANY
@given(st.data())
def test_measures_that_need_no_table(name, data):
    function = REGISTRY[name].function
    agree(function, *data.draw(visits(*(amounts for _ in REGISTRY[name].arguments))))


@pytest.mark.parametrize("function", [ages.age, ages.age_days])
@MANY
@given(visits(amounts, amounts))
def test_ages(function, columns):
    agree(function, *columns)


@pytest.mark.parametrize("measure", [zscore, centile])
@pytest.mark.parametrize("name", ["who-2006-weight", "who-2006-head"])
@MANY
@given(visits(ends(0, 60, 100), sexes, ends(-2, 94, 1)))
def test_growth(measure, name, table, columns):
    loaded = table(name)
    agree(lambda of, sex, days: measure(of, sex, days, loaded), *columns)


@MANY
@given(visits(ends(1, 6, 100), sexes, ends(0, 40, 1)))
def test_growth_where_the_power_is_zero(columns):
    rows = np.array([[[0.0, 3.3, 0.14]] * 30, [[0.3, 3.2, 0.14]] * 30])
    loaded = LmsTable("invented", "Invented", "kg", (0, 29), True, rows, ("nobody",), "our-reading")
    agree(lambda of, sex, days: zscore(of, sex, days, loaded), *columns)


@MANY
@given(visits(ends(0, 6, 1000), sexes, ends(220, 310, 1)))
def test_size_at_birth(table, columns):
    loaded = table("intergrowth-21st-weight")
    function = lambda of, sex, days: size_for_gestation(of, sex, days, loaded)  # noqa: E731
    rows = list(zip(*columns, strict=True))
    together = function(Interval.of(columns[0]), np.array(columns[1]), Interval.of(columns[2]))
    for i, (of, sex, days) in enumerate(rows):
        assert function(Interval.one(*of), sex, Interval.one(*days)) == together[i].tolist()


@MANY
@given(visits(ends(-5, 2300, 7)))
def test_steps(table, columns):
    for name in ("expected-output-texas", "expected-output-scotland"):
        counts = table(name)
        agree(lambda age, counts=counts: expected_count(age, counts, "wet"), *columns)
    feeds = table("feed-volume-by-hour")
    agree(lambda age: feed_volume_per_feed(age, feeds), *columns)


@MANY
@given(visits(ends(1, 6, 100), ends(-5, 2300, 7)))
def test_a_day_of_formula(table, columns):
    volumes = table("formula-volume-by-day")
    agree(lambda weight, age: feed_volume_per_day(weight, age, volumes), *columns)


@pytest.mark.parametrize("with_risk", [True, False])
@MANY
@given(visits(ends(-5, 350, 60), ends(230, 300, 1), flags))
def test_treatment_lines(with_risk, columns):
    agree(lambda age, days, risk: threshold(INVENTED, "exchange", age, days, risk if with_risk else None), *columns)


@pytest.mark.parametrize("strict", [True, False])
@MANY
@given(visits(numbers, numbers))
def test_beyond_a_line(strict, columns):
    agree(lambda value, line: beyond(value, line, strict, Fraction(2)), *columns)
