"""What was found as expected, by step and by who found it how, as the record has it."""

from __future__ import annotations

from layette.engine.api import Pack
from layette.engine.visit.visit import Recorded, Visit
from layette.mapping.pages.figures.readings import UNSETTLED, expected, made_here
from layette.mapping.text.labels import short

Told = dict[str, list[str]]
"""Names of findings by how they came to be recorded; "" is what the examiner recorded by itself."""


def as_expected(pack: Pack, visit: Visit) -> list[tuple[str, Told]]:
    """Return for each step of this visit the findings that were as expected, each by its name.

    A finding of two sides is named with the one side where only that one was looked at. What was charted as normal
    with its whole system, what the family told and what is preliminary stand apart from what was examined, since nobody
    saw it by itself, or not yet for certain. What is private is not named.
    """
    made, recorded = [], made_here(visit)
    for area in pack.areas:
        told: Told = {"": []}
        for name, shape in area.findings.items():
            usual = expected(shape.expected)
            here = recorded.get(name, [])
            good = [one for one in here if isinstance(one.possible, frozenset) and usual and one.possible <= usual]
            if good and len(good) == len(here) and not shape.private:
                told.setdefault(_how(good), []).append(short(shape.label) + _side(good))
        if any(told.values()):
            made.append((area.label, {how: names for how, names in told.items() if names}))
    return made


def _side(good: list[Recorded]) -> str:
    sides = {one.side for one in good if one.side}
    return f", {sides.pop()}" if len(sides) == 1 else ""


def _how(good: list[Recorded]) -> str:
    """Return how recordings were made, by the most certain of them."""
    return min((_made(one) for one in good), key=lambda how: (len(how), how))[-1]


def _made(one: Recorded) -> tuple[str, ...]:
    told = ["told by the family"] if one.reported else []
    told += ["preliminary"] if one.status in UNSETTLED else []
    told += [f"charted as a whole ({one.spread_from})"] if one.spread_from else []
    return ("", ", ".join(told)) if told else ("",)
