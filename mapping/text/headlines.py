"""The measures that stand on the page without being asked for, those of one reading together."""

from __future__ import annotations

from typing import NamedTuple

from layette.engine.answer.parts.assessment import Assessment, Measured
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import short
from layette.mapping.text.layout import JOINT, wrapped
from layette.mapping.text.values import dated, measured

_LINES = 2


class Headline(NamedTuple):
    """A reading by its name, as it was recorded and on which day, and what was computed from it."""

    name: str
    value: str
    day: str
    told: list[str]


class Headlines(NamedTuple):
    """The line at the head of the page, and what it has no room for."""

    line: str
    rest: list[str]


def headlines(assessment: Assessment, clock: Clock, width: int) -> Headlines:
    """Return the measures marked `headline` whose two bounds are known, those of the latest day first.

    Within a day they stand in the order of the pack.

    The head has of each reading what comes first, as many readings as fit in two lines of ``width`` columns.
    """
    line, rest = "", []
    for group in _by_reading(assessment, clock):
        first = _joined(group, group.value, group.told[:1])
        longer = f"{line}{JOINT}{first}" if line else first
        if len(wrapped(longer, width, "", "")) <= _LINES:
            line, left, value = longer, group.told[1:], ""
        else:
            left, value = group.told, group.value
        rest += [_joined(group, value, left)] if left else []
    return Headlines(line, rest)


def _by_reading(assessment: Assessment, clock: Clock) -> list[Headline]:
    groups: dict[tuple[str, str], Headline] = {}
    for one in assessment.measures:
        # A line of which only one bound is known (a gestation outside its set) would be read as the line itself.
        if one.headline and ((one.low and one.high) or one.category):
            first = one.derived_from[0] if one.derived_from else None
            name, value = (short(first.label), dated(first, clock)) if first else ("", "")
            day = (first.time or "")[: len("2026-11-24")] if first else ""
            groups.setdefault((name, value), Headline(name, value, day, [])).told.append(_told(one, name))
    return sorted(groups.values(), key=lambda group: group.day, reverse=True)


def _told(one: Measured, name: str) -> str:
    """Return a measure beside the reading ``name``, which it does not repeat."""
    label, text = measured(one)
    return text if label == name else f"{label[:1].lower()}{label[1:]} {text}"


def _joined(group: Headline, value: str, told: list[str]) -> str:
    reading = f"{group.name} {value}".strip()
    return f"{reading}: {', '.join(told)}" if reading else ", ".join(told)
