"""A visit that tells one finding and nothing else, on day 4 and on day 28, and how pressing what rests on it is."""

from __future__ import annotations

from typing import Any

from layette.engine import Assessment, load_pack

BORN, DAY_4, DAY_28 = "2026-11-20T08:30:00-06:00", "2026-11-24T10:00:00-06:00", "2026-12-18T10:00:00-06:00"


def told_alone(name: str, given: Any, moment: str) -> Assessment:
    """Return the answer of the shipped pack; a finding with sides is told of its first one."""
    shape = load_pack().findings[name]
    place = f"{name}.{shape.sides[0]}" if shape.sides else name
    visit = {"born": BORN, "at": moment, "sex_at_birth": "male", "findings": {place: given}}
    return load_pack().assess(visit, readers=["native"])


def pressing(told: Assessment, name: str, *, words: bool = False) -> list[str]:
    """How pressing each thing is that rests on a finding; with ``words`` what the family is told, too."""
    made = (*told.recommendations, *told.avoid, *((*told.guidance, *told.reassurance) if words else ()))
    read = [(one.priority, reason.values) for one in made for reason in one.reasons]
    read += [(one.priority, one.values) for one in told.to_judge]
    return [str(priority) for priority, values in read if any(v.subject.split(".")[0] == name for v in values)]
