"""Taking parsed JSON apart without trusting its shape: what is of the wrong kind is as good as absent here.

The wrong kind itself is reported by `SHAPES`, once for each resource that is read.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

Resource = Mapping[str, Any]
Coding = tuple[str, str, str]
"""System, code and display; an empty text where one is missing."""

EMPTY: Resource = {}

_SPACE = re.compile(r"\s")

SHAPES: Mapping[str, type] = {
    "basedOn": list, "birthDate": str, "clinicalStatus": dict, "code": dict,
    "component": list, "contained": list, "dataAbsentReason": dict, "encounter": dict, "entry": list,
    "extension": list, "focus": list, "gender": str, "hasMember": list, "id": str,
    "interpretation": list, "link": list, "meta": dict, "method": dict, "patient": dict, "performer": list,
    "period": dict, "relationship": list, "result": list, "subject": dict, "valueQuantity": dict,
    "valueCodeableConcept": dict, "valueString": str, "valueBoolean": bool, "valueRange": dict,
    "vaccineCode": dict, "verificationStatus": dict,
}  # fmt: skip
"""The kinds of the elements that reading looks at."""


def wrong_kind(resource: Resource) -> str | None:
    """Return the first element that is not of the kind that FHIR gives it, or None."""
    wrong = [key for key, value in resource.items() if key in SHAPES and not isinstance(value, SHAPES[key])]
    return min(wrong, default=None)


def mapping(value: object) -> Resource:
    """Return ``value`` if it is an object, else an empty one."""
    return value if isinstance(value, dict) else EMPTY


def items(value: object) -> Iterator[Resource]:
    """Yield the objects in a list; a lone object counts as a list of one."""
    if isinstance(value, list):
        for item in value:
            if isinstance(item, dict):
                yield item
    elif isinstance(value, dict):
        yield value


def text(value: object) -> str:
    """Return ``value`` if it is text, else an empty text."""
    return value if isinstance(value, str) else ""


def identifiers(given: object) -> list[dict[str, str]]:
    """Return system and value of those identifiers that can go out again: no blank value, no space in a system."""
    found = [{key: text(one.get(key)) for key in ("system", "value") if text(one.get(key))} for one in items(given)]
    return [one for one in found if one.get("value", "").strip() and not _SPACE.search(one.get("system", ""))]


def codings(concept: object) -> list[Coding]:
    """Return the codings of a CodeableConcept that carry a code."""
    given = concept.get("coding") if isinstance(concept, dict) else None
    if not isinstance(given, list):
        given = [given] if isinstance(given, dict) else ()
    found = []
    for one in given:  # this is asked some four times of each resource
        if isinstance(one, dict):
            code, system, display = one.get("code"), one.get("system", ""), one.get("display", "")
            if isinstance(code, str):
                found.append((system if type(system) is str else "", code, display if type(display) is str else ""))
    return found


def concept_codes(concept: object) -> set[str]:
    """Return the bare codes of a CodeableConcept, for lists that FHIR itself closes."""
    return {code for _, code, _ in codings(concept)}


def words(concept: object) -> list[str]:
    """Return what a CodeableConcept says in words: its text and the displays."""
    if not isinstance(concept, dict):
        return []
    said = [text(concept.get("text")), *(text(one.get("display")) for one in items(concept.get("coding")))]
    return [word for word in said if word]


def described(concept: object) -> tuple[str, str]:
    """Return a concept's first code (``system|code``) and its words, to be shown."""
    found = codings(concept)
    said = words(concept)
    return (f"{found[0][0]}|{found[0][1]}" if found else ""), (said[0] if said else "")


def reference(value: object) -> str:
    """Return the text of a Reference, empty where it has none."""
    return text(value.get("reference")) if isinstance(value, dict) else ""


def shown(value: object, limit: int = 80) -> str:
    """Return ``value`` short enough for a message."""
    line = " ".join(str(value).split())
    return line if len(line) <= limit else line[: limit - 1] + "…"


def value_text(holder: Resource | None) -> str:
    """Return the value[x] of an Observation or component as people read it; empty where it has none."""
    for key, value in (holder or EMPTY).items():
        if key == "valueQuantity" and isinstance(value, dict):
            parts = (value.get("comparator"), value.get("value"), value.get("unit") or value.get("code"))
            return " ".join(str(part) for part in parts if part is not None)
        if key == "valueCodeableConcept":
            code, said = described(value)
            return said or code
        if key.startswith("value"):
            return str(value) if not isinstance(value, dict) else " ".join(_leaves(value))
    return ""


def _leaves(value: Resource) -> Iterator[str]:
    """Yield what a Range, a Ratio or the like holds, without the systems of its codes."""
    for key, one in value.items():
        if isinstance(one, dict):
            yield " ".join((key, *_leaves(one)))
        elif key not in ("system", "code"):
            yield str(one)
