"""Guidance that is owed and reassurance, as CommunicationRequests in the words for the family.

Guidance that was given is history (a Communication): it is read, and never written again.
"""

from __future__ import annotations

from layette.engine.answer.parts.assessment import Recommendation
from layette.mapping.write.resources import requests
from layette.mapping.write.resources.evidence import Evidence
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import concepts, spoken

_ORDER = (
    "resourceType", "meta", "identifier", "replaces", "status", "category", "priority", "subject", "about",
    "encounter", "payload", "occurrencePeriod", "authoredOn", "reasonCode", "reasonReference", "note",
)  # fmt: skip


def write(out: Output, evidence: Evidence) -> None:
    """Write a CommunicationRequest for each topic owed and each reassurance."""
    for recommendation in (*out.assessment.guidance, *out.assessment.reassurance):
        if not requests.held_back(out, recommendation):
            _create(out, evidence, recommendation)


def _create(out: Output, evidence: Evidence, recommendation: Recommendation) -> None:
    resource = requests.shared(out, recommendation, "CommunicationRequest")
    group = recommendation.category or ("education" if recommendation.kind == "guide" else "reassurance")
    what = concepts.target(out, recommendation.target, recommendation.label, recommendation.codes)
    resource["category"] = [concepts.category(out, group), what]
    resource["payload"] = _payload(recommendation)
    reasons, others = requests.evidence_for(out, evidence, recommendation)
    # R4 allows the same four types as reasons here; what else it rests on is what it is about.
    if reasons:
        resource["reasonReference"] = reasons
    if others:
        resource["about"] = others
    resource["note"] = requests.notes(out, recommendation)
    requests.create(out, {name: resource[name] for name in _ORDER if name in resource})


def _payload(recommendation: Recommendation) -> list[Resource]:
    words = recommendation.plain.get("en") or recommendation.label
    return [spoken.text("contentString", words, recommendation.plain)] + [
        {"contentString": text} for text in recommendation.do if text
    ]
