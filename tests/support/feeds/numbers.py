"""Pairs of numbers at one moment, around each number at which an emergency begins, in one unit and in two."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

from support.feeds.emergencies import Emergency, emergencies, other_values, written
from support.feeds.flat import Flat, Item, Place, changed

from layette.engine.exact.units import convert, exact


class Pair(NamedTuple):
    """Two numbers of one moment, and of how many of them the rule fires alone."""

    one: Emergency
    flat: Flat
    first: Item
    second: Item
    alarming: int

    @property
    def name(self) -> str:
        """The rule with both numbers."""
        shown = (f"{item['value']} {item['unit']}" for item in (self.first, self.second))
        return f"{self.one.rule}: {' and '.join(shown)}"


def pairs() -> Iterator[Pair]:
    """Yield the pairs for every number on which an emergency hangs."""
    for one in emergencies():
        for place in one.places:
            hangs_on_it = bool(other_values(one, place)[1])  # else another recording brings it, whatever stands here
            if one.pack.findings[place.finding].number is not None and hangs_on_it:
                yield from _of_place(one, place)


def _of_place(one: Emergency, place: Place) -> Iterator[Pair]:
    number = one.pack.findings[place.finding].number
    assert number is not None
    values = _around(one, place)
    for first, second in combinations(values, 2):
        yield _pair(one, place, first, second)
    for unit in [unit for unit in number.accepts if unit != number.unit]:
        for first in values:
            for second in values:
                turned = convert(exact(second["value"]), second["unit"], unit)
                yield _pair(one, place, first, {"value": float(round(turned, 1)), "unit": unit})


def _pair(one: Emergency, place: Place, first: Item, second: Item) -> Pair:
    item = place.item(one.flat)
    alone = [one.stands_in(changed(one.flat, place, **value)) for value in (first, second)]
    both = changed(one.flat, place)
    place.among(both)[place.number : place.number + 1] = [{**item, **first}, {**item, **second}]
    return Pair(one, both, first, second, sum(map(bool, alone)))


def _around(one: Emergency, place: Place) -> list[Item]:
    """Return the last number without the emergency, the first with it, and one more of each."""
    number = one.pack.findings[place.finding].number
    assert number is not None
    step = exact(number.resolution)
    alarming, harmless = other_values(one, place)
    own = place.item(one.flat)
    if not alarming:  # only the very last value alarms, and it is the recording's own
        alarming = [{"value": written(convert(exact(own["value"]), own["unit"], number.unit))}]
    low, high = sorted(exact(values[0]["value"]) for values in (alarming, harmless))
    rises = exact(harmless[0]["value"]) == low
    while high - low > step:
        middle = low + (high - low) / step // 2 * step
        if bool(one.stands_in(changed(one.flat, place, value=written(middle), unit=number.unit))) is rises:
            high = middle
        else:
            low = middle
    plausible = [exact(bound) for bound in number.plausible]
    found = [number for number in (low - step, low, high, high + step) if plausible[0] <= number <= plausible[1]]
    return [{"value": written(Fraction(value)), "unit": number.unit} for value in found]
