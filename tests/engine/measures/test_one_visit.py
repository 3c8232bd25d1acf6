"""A measure of one visit, in plain Python numbers, is what it is for that visit within a cohort's arrays."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from support.invented_lines import INVENTED
from support.seeds import EACH, seeds, several

from layette.engine.exact import arithmetic as ar
from layette.engine.exact.interval import Interval
from layette.engine.measures import REGISTRY, ages
from layette.engine.measures.birth_size import size_for_gestation
from layette.engine.measures.growth import LmsTable, centile, centile_from_term, zscore, zscore_from_term
from layette.engine.measures.input_kinds import AgeAt, AmountOfTime, Of, Pair, TimeOf
from layette.engine.measures.steps import expected_count, feed_volume_per_day, feed_volume_per_feed
from layette.engine.measures.thresholds import beyond, threshold

MANY = settings(max_examples=100 // EACH, deadline=None)


def ends(least, most, denominator):
    """Make spans of numbers that may be exact, wide, or open on either side; the same numbers come again and again."""
    often = [n for n in (least, most, least + 1, most - 1, 0, 1) if least <= n <= most]

    def number(rng):
        if rng.random() < 0.3:
            return Fraction(rng.choice(often))
        return Fraction(rng.randint(least * denominator, most * denominator), denominator)

    def span(rng):
        low, high = sorted((number(rng), number(rng)))
        open_below, open_above = rng.choice([(False, False), (True, False), (False, True), (True, True)])
        wide = (None if open_below else low, None if open_above else high)
        return rng.choice([(low, low), (low, high), wide])

    return span


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


def visits(seed, *kinds):
    """Yield columns, one a kind, of one to four visits."""
    for rng in several(seed):
        rows = [tuple(kind(rng) for kind in kinds) for _ in range(rng.randint(1, 4))]
        yield tuple(zip(*rows, strict=True))


def flags(rng):
    return rng.randint(-1, 1)


numbers, amounts, sexes = ends(-50, 50, 36), ends(1, 50, 36), flags

PLAIN = [ar.add, ar.subtract, ar.absolute_difference, ar.minimum, ar.maximum, ar.hull, ar.divide]


@pytest.mark.parametrize("function", PLAIN)
@MANY
@given(seeds)
def test_arithmetic(function, seed):
    for columns in visits(seed, numbers, numbers):
        agree(function, *columns)


@pytest.mark.parametrize("function", [ar.at_least, ar.more_than, ar.at_most, ar.below])
@MANY
@given(seeds)
def test_comparisons(function, seed):
    for columns in visits(seed, numbers, numbers):
        agree(function, *columns)


NUMBERS = (Of, AgeAt, TimeOf, Pair, AmountOfTime)
CHANGES = [name for name, found in REGISTRY.items() if all(isinstance(one, NUMBERS) for one in found.inputs)]
MOST = max(len(REGISTRY[name].arguments) for name in CHANGES)


@pytest.mark.parametrize("name", CHANGES)
@MANY
@given(seeds)
def test_measures_that_need_no_table(name, seed):
    for columns in visits(seed, *[amounts] * MOST):
        agree(REGISTRY[name].function, *columns[: len(REGISTRY[name].arguments)])


@pytest.mark.parametrize("function", [ages.age, ages.age_days])
@MANY
@given(seeds)
def test_ages(function, seed):
    for columns in visits(seed, amounts, amounts):
        agree(function, *columns)


@pytest.mark.parametrize("measure", [zscore, centile])
@pytest.mark.parametrize("name", ["who-2006-weight", "who-2006-head"])
@MANY
@given(seeds)
def test_growth(measure, name, table, seed):
    loaded = table(name)
    for columns in visits(seed, ends(0, 60, 100), sexes, ends(-2, 94, 1)):
        agree(lambda of, sex, days: measure(of, sex, days, loaded), *columns)


@pytest.mark.parametrize("measure", [zscore_from_term, centile_from_term])
@MANY
@given(seeds)
def test_growth_from_term(measure, table, seed):
    loaded = table("who-2006-head")
    for columns in visits(seed, ends(0, 60, 100), sexes, ends(0, 160, 1), ends(200, 265, 1)):
        agree(lambda of, sex, days, weeks: measure(of, sex, days, weeks, loaded), *columns)


@MANY
@given(seeds)
def test_growth_where_the_power_is_zero(seed):
    rows = np.array([[[0.0, 3.3, 0.14]] * 30, [[0.3, 3.2, 0.14]] * 30])
    loaded = LmsTable("invented", "Invented", "kg", (0, 29), True, rows, ("nobody",), "our-reading")
    for columns in visits(seed, ends(1, 6, 100), sexes, ends(0, 40, 1)):
        agree(lambda of, sex, days: zscore(of, sex, days, loaded), *columns)


@MANY
@given(seeds)
def test_size_at_birth(table, seed):
    loaded = table("intergrowth-21st-weight")
    function = lambda of, sex, days: size_for_gestation(of, sex, days, loaded)  # noqa: E731
    for columns in visits(seed, ends(0, 6, 1000), sexes, ends(220, 310, 1)):
        rows = list(zip(*columns, strict=True))
        together = function(Interval.of(columns[0]), np.array(columns[1]), Interval.of(columns[2]))
        for i, (of, sex, days) in enumerate(rows):
            assert function(Interval.one(*of), sex, Interval.one(*days)) == together[i].tolist()


@MANY
@given(seeds)
def test_steps(table, seed):
    feeds = table("feed-volume-by-hour")
    for columns in visits(seed, ends(-5, 2300, 7)):
        for name in ("expected-output-texas", "expected-output-scotland"):
            counts = table(name)
            agree(lambda age, counts=counts: expected_count(age, counts, "wet"), *columns)
        agree(lambda age: feed_volume_per_feed(age, feeds), *columns)


@MANY
@given(seeds)
def test_a_day_of_formula(table, seed):
    volumes = table("formula-volume-by-day")
    for columns in visits(seed, ends(1, 6, 100), ends(-5, 2300, 7)):
        agree(lambda weight, age: feed_volume_per_day(weight, age, volumes), *columns)


@pytest.mark.parametrize("with_risk", [True, False])
@MANY
@given(seeds)
def test_treatment_lines(with_risk, seed):
    for columns in visits(seed, ends(-5, 350, 60), ends(230, 300, 1), flags):
        agree(lambda age, days, risk: threshold(INVENTED, "exchange", age, days, risk if with_risk else None), *columns)


@pytest.mark.parametrize("strict", [True, False])
@MANY
@given(seeds)
def test_beyond_a_line(strict, seed):
    for columns in visits(seed, numbers, numbers):
        agree(lambda value, line: beyond(value, line, strict, Fraction(2)), *columns)
