"""What a check has to say: one issue, with its path, and the path itself.

While a resource is walked, a path is a chain of ``(parent, name, index)``, cheap to lengthen; it becomes text
only when an issue is found.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

Severity = Literal["error", "warning", "information"]

At = tuple[Any, str, int]
"""``(parent or None, element name, index in its list or -1)``."""

KEYS: Mapping[str, tuple[str, str]] = {
    "resource-type": ("structure", "resourceType is missing or names no resource type of R4."),
    "unknown-element": ("structure", "The type has no such element."),
    "type": ("structure", "A value of the wrong kind: a string for a boolean, an object for a list."),
    "format": ("value", "A value whose spelling its type does not allow."),
    "date": ("value", "A day that is in no calendar."),
    "integer": ("value", "A number that is not whole, or outside the range of its type."),
    "blank": ("value", "A string without a visible character."),
    "control-character": ("value", "A character below U+0020 that is neither tab nor line break."),
    "base64": ("value", "Text that is not base64."),
    "empty": ("structure", "An empty object or list; what is absent is left out."),
    "null": ("structure", "A null outside the pairing of a list with its extensions."),
    "pairing": ("structure", "A list and the list of its extensions differ in length."),
    "required": ("required", "An element that R4 demands is missing."),
    "choice": ("structure", "Two types of one choice element are given."),
    "binding": ("code-invalid", "A code outside the value set that R4 requires."),
    "check-digit": ("code-invalid", "A LOINC or SNOMED CT code whose check digit is wrong."),
    "unit": ("code-invalid", "A code said to be UCUM that is none."),
    "unit-unchecked": (
        "not-supported",
        "A UCUM code that could not be checked: ucumvert, which is installed with Layette, is gone.",
    ),
    "comparator": ("structure", "A comparator where R4 allows a simple quantity only."),
    "reference-format": ("value", "A relative reference that is not Type/id."),
    "reference-target": ("value", "A reference to a type that the element does not allow."),
    "reference-type": ("value", "Reference.type disagrees with where the reference leads."),
    "dangling": ("not-found", "A reference by urn: or the like that nothing in the Bundle answers to."),
    "unresolved": ("not-found", "A reference by urn: or the like outside a Bundle, which nothing can answer to."),
    "contained-id": ("required", "A contained resource without an id, or with that of another."),
    "absolute-uri": ("value", "A code system, identifier system or extension url that is not an absolute URI."),
    "system": ("value", "A code system given as the address of a value set."),
    "period": ("invariant", "A period that ends before it starts."),
    "full-url": ("value", "A fullUrl that is not absolute or disagrees with the resource's id."),
    "entry-request": ("value", "The request of an entry does not fit its resource."),
    "xhtml": ("invalid", "A narrative that is no safe XHTML."),
    "vital-sign": ("invariant", "An Observation that does not meet the vital-sign profile it claims or falls under."),
}
"""Each key that is no published invariant: its FHIR issue type and what it means."""


@dataclass(frozen=True, slots=True, order=True)
class Issue:
    """One finding of the validator.

    ``path`` is the place (``Bundle.entry[3].resource.valueQuantity.code``), ``key`` a name from ``KEYS`` or of a
    published invariant (``obs-6``), ``code`` FHIR's issue type, ``message`` one sentence: what would be right.
    """

    path: str
    severity: Severity
    code: str
    message: str
    key: str

    def __str__(self) -> str:
        """Return one line: severity, path, sentence, key."""
        return f"{self.severity}: {self.path}: {self.message} [{self.key}]"


def issue(at: At, key: str, message: str, severity: Severity = "error") -> Issue:
    """Return an issue at a place; the key gives FHIR's issue type, published invariants being ``invariant``."""
    return Issue(text_of(at), severity, KEYS[key][0] if key in KEYS else "invariant", message, key)


def text_of(at: At) -> str:
    """Return a chain as text, the outermost name first."""
    parts: list[str] = []
    place: At | None = at
    while place is not None:
        parent, name, index = place
        parts.append(name if index < 0 else f"{name}[{index}]")
        place = parent
    return ".".join(reversed(parts))
