"""The linkIds of the exam as a Questionnaire: what the export writes and the reader of responses takes apart.

A finding is asked under its own name (`red_reflex`), one side of it under `red_reflex.left`, one part under
`pulse_oximetry.hand`. What goes along with an answer stands below it: `temperature.time`, `temperature.route`,
`birth_weight.reported`; `weight.absent` says why there is no number.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal, NamedTuple

from layette.engine.pack.written.shapes import FindingShape
from layette.engine.pack.written.subjects import SEX

Role = Literal["answer", "absent", "time", "reported", "qualifier", "attempt", "group", "sex"]
BESIDE: tuple[Role, ...] = ("time", "reported", "qualifier")
"""What says something about an answer and is none itself."""


class Place(NamedTuple):
    """What one linkId stands for."""

    role: Role
    finding: str = ""
    side: str | None = None
    part: str | None = None
    qualifier: str | None = None


def exam_id(pack_id: str) -> str:
    """Return the id of a pack's exam."""
    return f"{pack_id}-exam"


def exam_url(base: str, pack_id: str) -> str:
    """Return the canonical URL of a pack's exam, without a version."""
    return f"{base.rstrip('/')}/Questionnaire/{exam_id(pack_id)}"


def link(*words: str | None) -> str:
    """Return the linkId made of these words."""
    return ".".join(word for word in words if word)


def places(findings: Mapping[str, FindingShape]) -> dict[str, Place]:
    """Return what each linkId of the exam stands for; groups of an area and displays are not among them."""
    found = {SEX: Place("sex")}
    for name, shape in findings.items():
        found.update(_of_finding(name, shape))
    return found


def _of_finding(name: str, shape: FindingShape) -> Iterator[tuple[str, Place]]:
    if shape.readings is not None:
        yield name, Place("attempt", name)
        yield from _beside(name, name, shape, None)
        yield link(name, "absent"), Place("absent", name)
        for part in shape.readings.parts:
            yield link(name, part), Place("answer", name, part=part)
            yield link(name, part, "absent"), Place("absent", name, part=part)
        return
    if shape.sides:
        yield name, Place("group", name)
    for side in shape.sides or (None,):
        here = link(name, side)
        yield here, Place("answer", name, side)
        if shape.number is not None:  # a choice holds the reasons for no answer among its options
            yield link(here, "absent"), Place("absent", name, side)
            yield link(here, "absent", "time"), Place("time", name, side)
        yield from _beside(here, name, shape, side)


def _beside(here: str, name: str, shape: FindingShape, side: str | None) -> Iterator[tuple[str, Place]]:
    yield link(here, "time"), Place("time", name, side)
    if shape.reported:
        yield link(here, "reported"), Place("reported", name, side)
    for qualifier in shape.qualifier:
        yield link(here, qualifier), Place("qualifier", name, side, qualifier=qualifier)
