"""Come back: the fewest visits whose windows meet, held to brute force."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from hypothesis import given, settings
from support.seeds import EACH, seeds, several

from layette.engine.answer.parts.assessment import ComeBackItem
from layette.engine.answer.visits import Span, fewest_visits


def several_spans(seed: int, most: int) -> Iterator[list[Span]]:
    """Up to so many spans of days, in a fortnight that they share often."""
    for rng in several(seed):
        ends = [sorted((rng.randint(0, 12), rng.randint(0, 12))) for _ in range(rng.randint(0, most))]
        yield [Span(lo, hi, ComeBackItem(label=f"item {k}", side=None, target=None)) for k, (lo, hi) in enumerate(ends)]


def fewest_by_enumeration(items: list[Span]) -> int:
    """Try every set of days, the smallest first, until one serves all."""
    days = sorted({span.until for span in items})
    for count in range(len(days) + 1):
        for chosen in combinations(days, count):
            if all(any(span.start <= day <= span.until for day in chosen) for span in items):
                return count
    raise AssertionError("each item can be served on its own last day")


@settings(max_examples=400 // EACH, deadline=None)
@given(seeds)
def test_there_are_never_more_visits_than_needed(seed: int) -> None:
    for items in several_spans(seed, 7):
        assert len(fewest_visits(items)) == fewest_by_enumeration(items)


@settings(max_examples=200 // EACH, deadline=None)
@given(seeds)
def test_every_item_is_served_once_within_the_span_of_its_visit(seed: int) -> None:
    for items in several_spans(seed, 9):
        visits = fewest_visits(items)
        served = sorted(span.item.label for _, _, taken in visits for span in taken)
        assert served == sorted(one.item.label for one in items)
        for start, until, taken in visits:
            assert start <= until
            assert all(span.start <= start and until <= span.until for span in taken)


@settings(max_examples=100 // EACH, deadline=None)
@given(seeds)
def test_the_order_of_the_items_never_matters(seed: int) -> None:
    for items, rng in zip(several_spans(seed, 7), several(seed + 1), strict=True):
        assert fewest_visits(rng.sample(items, len(items))) == fewest_visits(items)
