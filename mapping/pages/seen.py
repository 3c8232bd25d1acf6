"""What was found as expected, by step, as the record has it."""

from __future__ import annotations

from layette.engine.api import Pack
from layette.engine.visit.visit import Recorded, Visit
from layette.mapping.pages.figures.readings import expected, made_here
from layette.mapping.text.labels import short


def as_expected(pack: Pack, visit: Visit) -> list[tuple[str, list[str]]]:
    """Return for each step that was examined at this visit the findings that were as expected, each by its name.

    A finding of two sides is named with the one side where only that one was looked at. What was charted as normal
    with its whole system says so, since nobody recorded it by itself. What is private is not named.
    """
    made, recorded = [], made_here(visit)
    for area in pack.areas:
        names = []
        for name, shape in area.findings.items():
            usual = expected(shape.expected)
            here = recorded.get(name, [])
            good = [one for one in here if isinstance(one.possible, frozenset) and usual and one.possible <= usual]
            if good and len(good) == len(here) and not shape.private:
                names.append(short(shape.label) + _side(good) + (" (charted with its system)" if _spread(good) else ""))
        if names:
            made.append((area.label, names))
    return made


def _side(good: list[Recorded]) -> str:
    sides = {one.side for one in good if one.side}
    return f", {sides.pop()}" if len(sides) == 1 else ""


def _spread(good: list[Recorded]) -> bool:
    return all(one.spread_from for one in good)
