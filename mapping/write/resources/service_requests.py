"""Referrals, orders, rechecks, what is to be judged and chased, as proposals; what must not be done says so."""

from __future__ import annotations

from layette.engine.answer.shapes.proposed import Recommendation, ToJudge
from layette.mapping.write.resources import judgments, requests
from layette.mapping.write.resources.evidence import Evidence
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import body, concepts, spoken, wording

_CATEGORY = {"refer": "referral", "recheck": "evaluation"}
_ORDER = (
    "resourceType", "meta", "identifier", "instantiatesCanonical", "replaces", "requisition", "status", "intent",
    "category", "priority", "doNotPerform", "code", "orderDetail", "subject", "encounter", "occurrencePeriod",
    "authoredOn", "requester", "performerType", "reasonCode", "reasonReference", "supportingInfo", "bodySite", "note",
    "patientInstruction",
)  # fmt: skip


def write(out: Output, evidence: Evidence) -> list[Resource]:
    """Write a ServiceRequest for each proposal; return References to them, in the order of the answer."""
    links = [_create(out, evidence, one) for one in requests.proposed(out)]
    for recommendation in out.assessment.standing:
        requests.remark(out, recommendation)
    return links


def canonical(out: Output, rule: str) -> str:
    """Return the canonical URL of a rule: a fragment of the pack's PlanDefinition at its version."""
    pack = out.assessment.pack
    return f"{out.base}/PlanDefinition/{pack.id}|{pack.version}#{rule.split('@')[0]}"


def _create(out: Output, evidence: Evidence, one: Recommendation | ToJudge) -> Resource:
    rules = dict.fromkeys(rule for rule in _rules(one) if rule)
    resource = requests.head(out, "ServiceRequest", one) | {"intent": "proposal", "requisition": out.group}
    if rules:
        resource["instantiatesCanonical"] = [canonical(out, rule) for rule in rules]
    resource |= judgments.what(out, one) if isinstance(one, ToJudge) else _what(out, one)
    resource |= requests.resting_on(out, evidence, one)
    resource = {name: resource[name] for name in _ORDER if name in resource}
    display = "About the mother, restricted" if one.subject == "mother" else resource["code"]["text"]
    return {"reference": requests.create(out, resource), "display": display}


def _rules(one: Recommendation | ToJudge) -> tuple[str, ...]:
    return one.rules if isinstance(one, ToJudge) else tuple(reason.rule for reason in one.reasons)


def _what(out: Output, recommendation: Recommendation) -> Resource:
    group = recommendation.category or _CATEGORY.get(recommendation.kind)
    words = spoken.in_one_language(recommendation.plain, out.language)
    looks_at = f"Look again at: {'; '.join(recommendation.looks_at)}" if recommendation.looks_at else ""
    found = {
        "category": [concepts.category(out, group)] if group else [],
        "doNotPerform": recommendation.kind == "avoid",
        "code": concepts.target(out, recommendation.target, recommendation.label, recommendation.codes),
        "orderDetail": [{"text": line} for line in (*recommendation.do, looks_at) if line],
        "occurrencePeriod": requests.occurrence(out, recommendation),
        "performerType": concepts.performer(out, recommendation.performer) if recommendation.performer else {},
        "reasonCode": [{"text": text} for text in dict.fromkeys(r.because for r in recommendation.reasons)],
        "bodySite": body.sites(out, recommendation.side, requests.values_of(recommendation)),
        "note": wording.as_notes([*map(wording.behind, recommendation.reasons), *wording.reserve(recommendation)]),
        "patientInstruction": wording.clean(words),
    }
    return {name: value for name, value in found.items() if value}
