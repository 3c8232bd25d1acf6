"""The answers of each finding as a ValueSet, and the reasons for which there is no answer."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from layette.mapping.codes import ABSENT_REASON, OWN
from layette.mapping.export.publication import Publication, Resource, legal_id

ABSENT: Mapping[str, str] = {
    "not-performed": "Not Performed",
    "asked-declined": "Asked But Declined",
    "asked-unknown": "Asked But Unknown",
    "temp-unknown": "Temporarily Unknown",
    "unknown": "Unknown",
    "not-applicable": "Not Applicable",
}
"""The reasons that an exam can have for an answer that is not there, with FHIR's own wording."""

ABSENT_SET = "no-answer-reasons"


def value_sets(pub: Publication) -> Iterator[Resource]:
    """Yield a ValueSet for each finding with named values, then the reasons for no answer."""
    for name, shape in pub.pack.findings.items():
        if shape.values:
            yield _answers(pub, name, shape.label)
    about = "Why a finding has no answer: it was not looked at, or the family declined. This never means normal."
    yield _set(pub, ABSENT_SET, "Reasons for no answer", about, ABSENT_REASON, ABSENT)


def answers_set(name: str) -> str:
    """Return the id of the ValueSet of a finding's answers."""
    return legal_id(name)


def answers(pub: Publication, name: str) -> dict[str, str]:
    """Return our own codes for a finding's values, the less exact ones last: code -> display."""
    shape = pub.pack.findings[name]
    exact = {f"{name}.{value}": value.replace("_", " ") for value in shape.values or ()}
    coarse = {
        f"{name}.{value}": f"{value.replace('_', ' ')} (not known more exactly)"
        for value in pub.pack.subjects.coarse(name)
    }
    return exact | coarse


def _answers(pub: Publication, name: str, label: str) -> Resource:
    about = f'The values of the finding "{label}".'
    return _set(pub, answers_set(name), label, about, pub.system(OWN["findings"]), answers(pub, name))


def _set(pub: Publication, name: str, title: str, about: str, system: str, codes: Mapping[str, str]) -> Resource:
    concepts = [{"code": code, "display": display} for code, display in codes.items()]
    include = {"system": system, "concept": concepts}
    return pub.head("ValueSet", name, title, about) | {"compose": {"include": [include]}}
