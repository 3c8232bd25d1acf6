"""What changes the meaning of a resource in a way that we do not know: such a resource is kept and said, never used.

FHIR R4, extensibility: whoever does not know a modifier extension must not process the data that contain it; whoever
does not know the `implicitRules` of a resource cannot rely on its content.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import chain
from typing import Any, NamedTuple

from layette.engine.errors import InputProblem
from layette.mapping.read.bundle.entries import Entry, Inputs
from layette.mapping.read.bundle.parts import Resource, items, shown
from layette.mapping.read.bundle.people import is_mother

_MODIFIERS = frozenset({"modifierExtension", "implicitRules"})

UNREAD: Mapping[str, frozenset[str]] = {
    "Condition": frozenset({"evidence", "stage"}),
    "DiagnosticReport": frozenset({"media"}),
    "Encounter": frozenset(
        {"classHistory", "diagnosis", "hospitalization", "location", "participant", "statusHistory"}
    ),
    "Immunization": frozenset({"education", "performer", "protocolApplied", "reaction"}),
    "Observation": frozenset({"component.referenceRange", "referenceRange"}),
    "Patient": frozenset({"communication", "contact"}),
    "Procedure": frozenset({"focalDevice", "performer"}),
}
"""Elements that can carry a modifier and that reading never looks at: one there changes nothing that is used."""

_INDEX = re.compile(r"\[\d+\]")


class Modified(NamedTuple):
    """An entry that is set aside, the place in it, why, and the url that stands there."""

    entry: Entry
    suffix: str
    why: str
    url: str


def set_aside_modified(inputs: Inputs) -> list[Modified]:
    """Set aside every entry with a modifier that is not known; of those a visit is about, make a problem.

    A modifier within an element that is never read sets aside that element alone, with a notice.
    """
    if not _may_be_modified([entry.resource for entry in inputs.entries if not entry.aside]):
        return []  # most inputs have no modifier, and to look through each resource by itself would be felt
    found: list[Modified] = []
    for entry in inputs.entries:
        for suffix, what, url in () if entry.aside else _modifiers(entry.resource):
            why = f"{what} that is not known here may change what it means"
            if _is_unread(entry.kind, suffix):
                inputs.notices.append(f"{entry.path}{suffix}: {why} ({url or 'no url'}); this element is not used")
            elif not entry.aside:
                entry.aside = True
                found.append(Modified(entry, suffix, why, url))
    for entry, suffix, why, url in found:
        if entry.kind == "Patient" or (entry.kind == "RelatedPerson" and is_mother(entry.resource)):
            message = f"{why}, so the person is not used"
            inputs.problems.append(
                InputProblem(f"{entry.path}{suffix}", "patient", message, url, "a resource without it")
            )
    return found


def _is_unread(kind: str, suffix: str) -> bool:
    """Whether a place within a resource lies in an element that is never read."""
    steps = _INDEX.sub("", suffix).split(".")[1:]
    unread = UNREAD.get(kind, frozenset())
    return bool(unread) and (steps[0] in unread or ".".join(steps[:2]) in unread)


def _may_be_modified(parts: Sequence[Any]) -> bool:
    """Whether an element with the name of a modifier stands anywhere in several resources, even an empty one."""
    while parts:
        mappings: list[Any] = []
        further: list[Any] = []
        for part in parts:
            kind = type(part)
            if kind is str:  # the most frequent first
                continue
            if kind is dict or isinstance(part, dict):
                mappings.append(part)
            elif isinstance(part, list):
                further += part
        if not _MODIFIERS.isdisjoint(chain.from_iterable(mappings)):
            return True
        further += chain.from_iterable(map(dict.values, mappings))
        parts = further
    return False


def _modifiers(resource: Resource) -> Iterator[tuple[str, str, str]]:
    """Yield the outermost modifiers in a resource: the place of each, what it is, and its url."""
    if not _may_be_modified([resource]):
        return
    places: list[tuple[str, object]] = [("", resource)]
    while places:
        path, part = places.pop()
        if isinstance(part, dict):
            if part.get("modifierExtension"):
                url = next((shown(one.get("url", "")) for one in items(part["modifierExtension"])), "")
                yield f"{path}.modifierExtension", "a modifierExtension", url
                continue
            if part.get("implicitRules"):
                yield f"{path}.implicitRules", "implicitRules", shown(part["implicitRules"])
                continue
            places += [(f"{path}.{key}", value) for key, value in part.items() if isinstance(value, dict | list)]
        elif isinstance(part, list):
            places += [(f"{path}[{k}]", value) for k, value in enumerate(part) if isinstance(value, dict | list)]
