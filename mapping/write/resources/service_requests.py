"""Referrals, orders and rechecks as proposals; what must not be done, with `doNotPerform`."""

from __future__ import annotations

from layette.engine.answer.parts.assessment import Recommendation
from layette.mapping.write.resources import requests
from layette.mapping.write.resources.evidence import Evidence
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import concepts, spoken

_CATEGORY = {"refer": "referral", "recheck": "evaluation"}
_ORDER = (
    "resourceType", "meta", "identifier", "instantiatesCanonical", "replaces", "status", "intent", "category",
    "priority", "doNotPerform", "code", "orderDetail", "subject", "encounter", "occurrencePeriod", "authoredOn",
    "performerType", "reasonCode", "reasonReference", "supportingInfo", "bodySite", "note", "patientInstruction",
    "_patientInstruction",
)  # fmt: skip


def write(out: Output, evidence: Evidence) -> None:
    """Write a ServiceRequest for each recommendation that is not covered by an active order."""
    for recommendation in (*out.assessment.recommendations, *out.assessment.avoid):
        if not requests.held_back(out, recommendation):
            _create(out, evidence, recommendation)
    for recommendation in out.assessment.standing:
        requests.remark(out, recommendation)


def canonical(out: Output, rule: str) -> str:
    """Return the canonical URL of a rule: a fragment of the pack's PlanDefinition at its version."""
    pack = out.assessment.pack
    return f"{out.base}/PlanDefinition/{pack.id}|{pack.version}#{rule.split('@')[0]}"


def _create(out: Output, evidence: Evidence, recommendation: Recommendation) -> None:
    resource = requests.shared(out, recommendation, "ServiceRequest") | _what(out, recommendation)
    reasons, supporting = requests.evidence_for(out, evidence, recommendation)
    if reasons:
        resource["reasonReference"] = reasons
    if supporting:
        resource["supportingInfo"] = supporting
    resource["note"] = requests.notes(out, recommendation)
    requests.create(out, {name: resource[name] for name in _ORDER if name in resource})


def _what(out: Output, recommendation: Recommendation) -> Resource:
    rules = dict.fromkeys(reason.rule for reason in recommendation.reasons)
    what: Resource = {
        "instantiatesCanonical": [canonical(out, rule) for rule in rules],
        "intent": "proposal",
        "code": concepts.target(out, recommendation.target, recommendation.label, recommendation.codes),
    }
    group = recommendation.category or _CATEGORY.get(recommendation.kind)
    optional = {
        "category": [concepts.category(out, group)] if group else [],
        "doNotPerform": recommendation.kind == "avoid",
        "orderDetail": [{"text": line} for line in recommendation.do],
        "performerType": {"text": recommendation.performer} if recommendation.performer else {},
        "bodySite": [concepts.side(recommendation.side)] if recommendation.side else [],
    }
    return what | {name: value for name, value in optional.items() if value} | _instruction(recommendation)


def _instruction(recommendation: Recommendation) -> Resource:
    words = recommendation.plain.get("en")
    return spoken.text("patientInstruction", words, recommendation.plain) if words else {}
