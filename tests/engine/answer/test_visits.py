"""Come back: the fewest visits whose windows meet, held to brute force."""

from __future__ import annotations

from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from layette.engine.answer.parts.assessment import ComeBackItem
from layette.engine.answer.visits import Span, fewest_visits

ENDS = st.tuples(st.integers(0, 12), st.integers(0, 12)).map(sorted)


def spans(ends: list[list[int]]) -> list[Span]:
    return [Span(lo, hi, ComeBackItem(label=f"item {k}", side=None, target=None)) for k, (lo, hi) in enumerate(ends)]


def fewest_by_enumeration(items: list[Span]) -> int:
    """Try every set of days, the smallest first, until one serves all."""
    days = sorted({span.until for span in items})
    for count in range(len(days) + 1):
        for chosen in combinations(days, count):
            if all(any(span.start <= day <= span.until for day in chosen) for span in items):
                return count
    raise AssertionError("each item can be served on its own last day")


@settings(max_examples=400, deadline=None)
@given(st.lists(ENDS, max_size=7))
def test_there_are_never_more_visits_than_needed(ends: list[list[int]]) -> None:
    items = spans(ends)
    assert len(fewest_visits(items)) == fewest_by_enumeration(items)


@settings(max_examples=200, deadline=None)
@given(st.lists(ENDS, max_size=9))
def test_every_item_is_served_once_within_the_span_of_its_visit(ends: list[list[int]]) -> None:
    items = spans(ends)
    visits = fewest_visits(items)
    assert sorted(span.item.label for _, _, taken in visits for span in taken) == sorted(i.item.label for i in items)
    for start, until, taken in visits:
        assert start <= until
        assert all(span.start <= start and until <= span.until for span in taken)


@settings(max_examples=100, deadline=None)
@given(st.lists(ENDS, max_size=7), st.randoms(use_true_random=False))
def test_the_order_of_the_items_never_matters(ends: list[list[int]], random) -> None:  # type: ignore[no-untyped-def]
    items = spans(ends)
    shuffled = list(items)
    random.shuffle(shuffled)
    assert fewest_visits(shuffled) == fewest_visits(items)
