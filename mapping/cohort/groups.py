"""By what an audit groups visits: where, in which month, how early the newborn was born."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from fractions import Fraction
from functools import lru_cache
from typing import Any, NamedTuple

from layette.engine.exact.units import convert
from layette.engine.states.facts import Facts
from layette.mapping.intake import Fhir, Intake

UNKNOWN = "not known"
BIRTH_GROUPS = ("before 35 weeks", "35 and 36 weeks", "37 weeks or more", UNKNOWN)
_WEEK = 7
_BOUNDS = (35 * _WEEK, 37 * _WEEK)
"""Days of gestation: term begins at 37 completed weeks, and lines of treatment for the near-term at 35."""


class Groups(NamedTuple):
    """The groups of one visit."""

    clinic: str | None
    month: str
    birth_group: str


def groups_of(facts: Facts, clinic: str | None) -> Groups:
    """Return the groups of a visit; the month is that of its own time zone."""
    visit = facts.visit
    at = datetime.fromtimestamp(visit.at.lo, visit.zone)
    return Groups(clinic, f"{at.year:04}-{at.month:02}", _birth_group(facts))


def _birth_group(facts: Facts) -> str:
    """Return the group by gestation; unknown, or not known closely enough to tell, is a group of its own."""
    name = facts.pack.shape.anchors.get("term")
    value = facts.number(name) if name else None
    ends = [end for end in value.span if end is not None] if value else []
    if value is None or len(ends) < len(value.span):
        return UNKNOWN
    low, high = (_bounds_kept(end.numerator, end.denominator, value.unit) for end in ends)
    return BIRTH_GROUPS[low] if low == high else UNKNOWN


@lru_cache(maxsize=1000)
def _bounds_kept(num: int, den: int, unit: str) -> int:
    """Return how many of the bounds a gestation reaches; the same few come again and again."""
    days = convert(Fraction(num, den), unit, "d")
    return sum(days >= bound for bound in _BOUNDS)


def clinic_of(intake: Intake) -> str | None:
    """Return where a visit was, as the record names it: ``clinic`` of a flat visit, the provider of an Encounter."""
    told = intake.visit.get("clinic")
    if told or intake.source is None:
        return str(told) if told else None
    wanted = str(intake.visit.get("encounter") or "").rpartition("/")[2]
    found = [one for one in _resources(intake.source) if one.get("resourceType") == "Encounter"]
    named = [one for one in found if one.get("id") == wanted] or (found if len(found) == 1 else [])
    return next((name for one in named for name in _places(one)), None)


def _resources(source: Fhir) -> Iterator[Mapping[str, Any]]:
    for part in source if isinstance(source, list) else [source]:
        if isinstance(part, Mapping):
            yield part
            entries = part.get("entry")
            for entry in entries if isinstance(entries, list) else ():
                resource = entry.get("resource") if isinstance(entry, Mapping) else None
                if isinstance(resource, Mapping):
                    yield resource


def _places(encounter: Mapping[str, Any]) -> Iterator[str]:
    locations = encounter.get("location")
    first = locations[0].get("location") if isinstance(locations, list) and isinstance(locations[0], Mapping) else None
    for reference in (encounter.get("serviceProvider"), first):
        if isinstance(reference, Mapping):
            name = reference.get("display") or reference.get("reference")
            if isinstance(name, str) and name:
                yield name
