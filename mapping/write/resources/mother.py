"""What is about the mother: pointed at by `focus`, and labelled as restricted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.run.subject import point
from layette.mapping.write.words import concepts

_MOTHER = ("MTH", "NMTH", "GESTM")


def about_mother(out: Output, resource: Resource) -> None:
    """Mark an Observation as being about the mother of its subject."""
    concepts.label_mother(resource)
    resource["focus"] = [mother(out) or {"display": "mother of the newborn"}]


def mother(out: Output) -> Resource | None:
    """Return the mother as the input names her, or None."""
    for reference, resource in out.sources.of_type("RelatedPerson"):
        if any(code in _MOTHER for code in _relationships(resource)):
            return point(out, reference)
    return None


def _relationships(resource: Mapping[str, Any]) -> Iterator[object]:
    """Yield the codes of a RelatedPerson's relationships; what is not of FHIR's shape says nothing."""
    kinds = resource.get("relationship")
    for kind in kinds if isinstance(kinds, list) else ():
        codings = kind.get("coding") if isinstance(kind, Mapping) else None
        for one in codings if isinstance(codings, list) else ():
            if isinstance(one, Mapping):
                yield one.get("code")
