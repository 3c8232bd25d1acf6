"""Growth, size at birth and steps, where sex, age or value are uncertain: the hull of what is possible, no more."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layette.engine.exact.interval import Interval
from layette.engine.measures.birth_size import size_for_gestation
from layette.engine.measures.growth import centile, centile_from_term, zscore, zscore_from_term
from layette.engine.measures.steps import expected_count, feed_volume_per_day, feed_volume_per_feed

QUICK = settings(max_examples=25, deadline=None)


def exactly(*values):
    return Interval.of([(Fraction(v), Fraction(v)) for v in values])


def between(low, high):
    return Interval.of([(None if low is None else Fraction(low), None if high is None else Fraction(high))])


def sexes(*values):
    return np.array(values)


def within(narrow, wide):
    return (wide[0] is None or wide[0] <= narrow[0]) and (wide[1] is None or narrow[1] <= wide[1])


@pytest.mark.parametrize("measure", [zscore, centile])
@QUICK
@given(
    grams=st.lists(st.integers(1500, 7000), min_size=3, max_size=3).map(sorted),
    days=st.lists(st.integers(0, 91), min_size=3, max_size=3).map(sorted),
    sex=st.integers(0, 1),
)
def test_growth_of_a_narrower_input_lies_within_that_of_a_wider(measure, grams, days, sex, table):
    weight = table("who-2006-weight")
    low, value, high = (Fraction(g, 1000) for g in grams)
    ((exact, _),) = measure(exactly(value), sexes(sex), exactly(days[1]), weight).spans()
    wide_of = measure(between(low, high), sexes(sex), exactly(days[1]), weight).spans()[0]
    wide_age = measure(exactly(value), sexes(sex), between(days[0], days[2]), weight).spans()[0]
    wide_sex = measure(exactly(value), sexes(-1), exactly(days[1]), weight).spans()[0]
    wide_all = measure(between(low, high), sexes(-1), between(days[0], days[2]), weight).spans()[0]
    for wide in (wide_of, wide_age, wide_sex):
        assert within((exact, exact), wide)
        assert within(wide, wide_all)


def test_hull_over_days_is_that_of_the_days(table):
    weight = table("who-2006-weight")
    each = [zscore(exactly("3.2"), sexes(1), exactly(d), weight).spans()[0][0] for d in range(4, 9)]
    assert zscore(exactly("3.2"), sexes(1), between(4, 8), weight).spans() == [(min(each), max(each))]
    mixed = zscore(exactly("3.2", "3.2"), sexes(1, -1), exactly(4, 4), weight).spans()
    assert mixed[0] == (each[0], each[0])
    assert mixed[1][0] < mixed[1][1]


def test_growth_does_not_answer_outside_its_days(table):
    head = table("who-2006-head")
    assert zscore(exactly(34), sexes(0), exactly(92), head).spans() == [(None, None)]
    assert zscore(exactly(34), sexes(0), Interval.unknown(1), head).spans() == [(None, None)]
    ((low, high),) = zscore(between(34, None), sexes(0), exactly(1), head).spans()
    assert high is None
    assert low is not None
    assert zscore(between(0, 34), sexes(0), exactly(1), head).spans()[0][0] is None
    assert zscore(exactly(34), sexes(0), exactly(Fraction(3, 2)), head).spans() == (
        zscore(exactly(34), sexes(0), exactly(1), head).spans()
    )


def test_a_centile_of_what_nobody_measured_is_unknown(table):
    head = table("who-2006-head")
    assert centile(Interval.unknown(1), sexes(0), exactly(1), head).spans() == [(None, None)]
    assert centile(exactly(34), sexes(0), Interval.unknown(1), head).spans() == [(None, None)]
    ((low, high),) = centile(between(34, None), sexes(0), exactly(1), head).spans()
    assert 0 < low < 100
    assert high is None


@pytest.mark.parametrize(("early", "plain"), [(zscore_from_term, zscore), (centile_from_term, centile)])
def test_growth_of_a_baby_born_early_is_read_by_the_age_from_40_weeks(early, plain, table):
    head = table("who-2006-head")
    at = plain(exactly(36), sexes(0), exactly(20), head).spans()
    assert early(exactly(36), sexes(0), exactly(90), exactly(210), head).spans() == at
    assert early(Interval.one(36, 36), 0, Interval.one(90, 90), Interval.one(210, 210), head).span() == at[0]
    unknown = [(None, None)]
    assert early(exactly(36), sexes(0), exactly(69), exactly(210), head).spans() == unknown  # before 40 weeks
    assert early(exactly(36), sexes(0), exactly(90), exactly(259), head).spans() == unknown  # born at term
    assert early(exactly(36), sexes(0), exactly(90), between(250, 260), head).spans() == unknown
    assert early(exactly(36), sexes(0), exactly(90), Interval.unknown(1), head).spans() == unknown
    ((low, high),) = early(exactly(36), sexes(0), exactly(90), between(205, 210), head).spans()
    assert low <= at[0][0] <= high
    assert low < high


def test_a_cohort_and_a_visit_give_one_number(table):
    weight = table("who-2006-weight")
    grams = np.arange(1500, 6000, 7)
    n = len(grams)
    cohort = zscore(
        Interval.from_integers(grams, scale=1000), np.arange(n) % 2, Interval.from_integers(np.arange(n) % 92), weight
    )
    assert cohort.exact
    assert cohort.lo.num.dtype == np.int64
    for i in range(0, n, 50):
        kilograms = Fraction(int(grams[i]), 1000)
        one = zscore(Interval.one(kilograms, kilograms), i % 2, Interval.one(i % 92, i % 92), weight)
        assert type(one.lo.num) is int
        assert one.span() == cohort.spans()[i]


def test_size_for_gestation_keeps_every_possible_band(table):
    standard = table("intergrowth-21st-weight")

    def bands(of, sex, gestation):
        (row,) = size_for_gestation(of, sexes(sex), gestation, standard)
        return {band for band, here in zip(standard.bands, row, strict=True) if here}

    assert bands(between("2.60", "2.63"), 0, exactly(280)) == {"below_p3", "p3_to_p5"}
    assert bands(Interval.unknown(1), 0, exactly(280)) == set(standard.bands)
    assert bands(exactly("3.3"), -1, exactly(280)) == bands(exactly("3.3"), 0, exactly(280)) | bands(
        exactly("3.3"), 1, exactly(280)
    )
    assert bands(exactly("2.60"), 0, between(270, 280)) >= bands(exactly("2.60"), 0, exactly(275))
    assert bands(exactly("2.60"), 0, exactly(301)) == set(standard.bands)
    assert bands(exactly("2.60"), 0, Interval.unknown(1)) == set(standard.bands)
    assert bands(exactly("9.99"), -1, between(168, 300)) == {"above_p97"}


@pytest.mark.parametrize(
    ("hours", "column", "count"),
    [
        (0, "wet", 1),
        (24, "wet", 2),
        (Fraction(86399, 3600), "wet", 1),
        (96, "wet", 5),
        (120, "wet", 6),
        (96, "stool", 3),
    ],
)
def test_expected_output_by_day_of_life(hours, column, count, table):
    """Texas WIC lesson: day 1 is the first 24 h."""
    assert expected_count(exactly(hours), table("expected-output-texas"), column).spans() == [(count, count)]


def test_steps_where_the_age_is_uncertain_or_outside(table):
    texas, scotland = table("expected-output-texas"), table("expected-output-scotland")
    assert expected_count(between(20, 50), texas, "wet").spans() == [(1, 3)]
    assert expected_count(between(20, 24), texas, "wet").spans() == [(1, 2)]
    assert expected_count(exactly(50), scotland, "stool").spans() == [(2, 2)]
    for age in (exactly(45 * 24), exactly(-1), Interval.unknown(1), between(0, 45 * 24)):
        assert expected_count(age, texas, "wet").spans() == [(None, None)]
    with pytest.raises(KeyError):
        expected_count(exactly(1), texas, "color")


def test_feed_volumes(table):
    """ABM Protocol #3: 2-10 mL on the first day; AAP parent information: 165 mL/kg, about 960 mL a day at most."""
    by_hour, by_day = table("feed-volume-by-hour"), table("formula-volume-by-day")
    assert feed_volume_per_feed(exactly(0, 24, 72), by_hour).spans() == [(2, 10), (5, 15), (30, 60)]
    assert feed_volume_per_feed(between(20, 30), by_hour).spans() == [(2, 15)]
    assert feed_volume_per_day(exactly("3.2"), exactly(200), by_day).spans() == [(448, 528)]
    assert feed_volume_per_day(exactly(8), exactly(200), by_day).spans() == [(960, 960)]
    assert feed_volume_per_day(between(3, 4), exactly(200), by_day).spans() == [(420, 660)]
    assert feed_volume_per_day(Interval.unknown(1), exactly(200), by_day).spans() == [(None, 960)]
    assert feed_volume_per_day(exactly(3), exactly(100), by_day).spans() == [(None, None)]


maybe = st.one_of(st.none(), st.integers(0, 7000))
cells = st.tuples(maybe, maybe).map(lambda t: t if None in t else (min(t), max(t)))


@QUICK
@given(
    visits=st.lists(
        st.tuples(cells, st.tuples(st.integers(-2, 94), st.integers(0, 5)), st.integers(-1, 1)), min_size=1, max_size=8
    )
)
def test_no_element_changes_the_answer_of_another(visits, table):
    weight, standard = table("who-2006-weight"), table("intergrowth-21st-weight")

    def spans(pairs, den):
        return Interval.of([tuple(None if end is None else Fraction(end, den) for end in pair) for pair in pairs])

    of = spans([v for v, _, _ in visits], 1000)
    days = spans([(d, d + more) for _, (d, more), _ in visits], 1)
    gestation = spans([(d + 206, d + 206 + more) for _, (d, more), _ in visits], 1)
    sex = sexes(*(s for _, _, s in visits))
    together = zscore(of, sex, days, weight).spans()
    sizes = size_for_gestation(of, sex, gestation, standard)
    for i in range(len(visits)):
        one = np.array([i])
        assert zscore(of.take(one), sex[one], days.take(one), weight).spans() == [together[i]]
        alone = size_for_gestation(of.take(one), sex[one], gestation.take(one), standard)
        assert alone.tolist() == [sizes[i].tolist()]
        assert alone.any()
