"""Code systems: the short names that packs use, and their URIs in FHIR R4."""

from __future__ import annotations

from collections.abc import Mapping

SYSTEMS: Mapping[str, str] = {
    "loinc": "http://loinc.org",
    "snomed": "http://snomed.info/sct",
    "icd10cm": "http://hl7.org/fhir/sid/icd-10-cm",
    "cvx": "http://hl7.org/fhir/sid/cvx",
    "ucum": "http://unitsofmeasure.org",
}
"""Short name -> URI, for the published systems."""

FAMILYS_WORDS = "The family, in its own words"
"""The author of a note that holds what the family said, such as its own question."""

OWN_BASE = "https://layette.example/fhir"
"""The default canonical base of our own systems: a reserved example domain; a site sets its own."""

OWN: Mapping[str, str] = {
    "findings": "CodeSystem/findings",
    "targets": "CodeSystem/targets",
    "tags": "CodeSystem/tags",
    "lists": "CodeSystem/lists",
    "judgments": "CodeSystem/judgments",
    "request-key": "identifier/request-key",
    "answer-key": "identifier/answer-key",
    "answer-key-retired": "identifier/answer-key-retired",
    "payload-topic": "StructureDefinition/payload-topic",
}
"""Our own systems, by what they name; the URI is the base, a slash, and this."""

INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
ABSENT_REASON = "http://terminology.hl7.org/CodeSystem/data-absent-reason"

_SHORT = {uri: short for short, uri in SYSTEMS.items()}


def uri(short: str) -> str:
    """Return the URI of a published system; anything else is taken as a URI already."""
    return SYSTEMS.get(short, short)


def short_name(system: str) -> str:
    """Return the short name of a system; a system without one stays as it is."""
    return _SHORT.get(system, system)


def own(name: str, base: str = OWN_BASE) -> str:
    """Return the URI of one of our own systems under a canonical base. Raises KeyError for an unknown name."""
    return f"{base.rstrip('/')}/{OWN[name]}"
