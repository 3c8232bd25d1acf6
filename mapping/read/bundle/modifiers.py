"""What changes the meaning of a resource in a way that we do not know: such a resource is kept and said, never used.

FHIR R4, extensibility: whoever does not know a modifier extension must not process the data that contain it; whoever
does not know the `implicitRules` of a resource cannot rely on its content.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Any, NamedTuple

from layette.engine.errors import InputProblem
from layette.mapping.read.bundle.entries import Entry, Inputs
from layette.mapping.read.bundle.parts import Resource, items, shown

_MODIFIERS = frozenset({"modifierExtension", "implicitRules"})
_HOLDERS = (dict, list)

IN_EACH = ("Patient", "RelatedPerson")
"""Whom a visit is about: without them nothing can be read, so a modifier there is a problem and not a note."""


class Modified(NamedTuple):
    """An entry that is set aside, the place in it, why, and the url that stands there."""

    entry: Entry
    suffix: str
    why: str
    url: str


def set_aside_modified(inputs: Inputs) -> list[Modified]:
    """Set aside every entry with a modifier that is not known; of a person's, which is needed, make a problem."""
    if not _may_be_modified([entry.resource for entry in inputs.entries if not entry.aside]):
        return []  # most inputs have no modifier, and to look through each resource by itself would be felt
    found = [
        Modified(entry, suffix, f"{what} that is not known here may change what it means", url)
        for entry in inputs.entries
        if not entry.aside
        for suffix, what, url in _first(entry.resource)
    ]
    for entry, suffix, why, url in found:
        entry.aside = True
        if entry.kind in IN_EACH:
            message = f"{why}, so the person is not used"
            inputs.problems.append(
                InputProblem(f"{entry.path}{suffix}", "patient", message, url, "a resource without it")
            )
    return found


def _may_be_modified(parts: Sequence[Any]) -> bool:
    """Whether an element with the name of a modifier stands anywhere in several resources, even an empty one."""
    while parts:
        mappings = [part for part in parts if isinstance(part, dict)]
        if not _MODIFIERS.isdisjoint(chain.from_iterable(mappings)):
            return True
        lists = [part for part in parts if isinstance(part, list)]
        values = chain(chain.from_iterable(map(dict.values, mappings)), chain.from_iterable(lists))
        parts = [value for value in values if type(value) is not str and isinstance(value, _HOLDERS)]
    return False


def _first(resource: Resource) -> Iterator[tuple[str, str, str]]:
    """Yield the first modifier in a resource, if there is one: its place, what it is, and its url."""
    if not _may_be_modified([resource]):
        return
    places: list[tuple[str, object]] = [("", resource)]
    while places:
        path, part = places.pop()
        if isinstance(part, dict):
            if part.get("modifierExtension"):
                url = next((shown(one.get("url", "")) for one in items(part["modifierExtension"])), "")
                yield f"{path}.modifierExtension", "a modifierExtension", url
                return
            if part.get("implicitRules"):
                yield f"{path}.implicitRules", "implicitRules", shown(part["implicitRules"])
                return
            places += [(f"{path}.{key}", value) for key, value in part.items() if isinstance(value, dict | list)]
        elif isinstance(part, list):
            places += [(f"{path}[{k}]", value) for k, value in enumerate(part) if isinstance(value, dict | list)]
