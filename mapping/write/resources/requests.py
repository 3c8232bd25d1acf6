"""What all proposals share: two identifiers, reasons, what they rest on, and what they replace."""

from __future__ import annotations

from layette.engine.answer.parts.assessment import Recommendation
from layette.mapping.write.resources import history
from layette.mapping.write.resources.evidence import REASONS, Evidence, split
from layette.mapping.write.resources.mother import mother
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, period
from layette.mapping.write.words import concepts, wording


def held_back(out: Output, recommendation: Recommendation) -> bool:
    """Whether an active order covers this; if so the output says it instead of proposing it again."""
    if not history.covered(recommendation):
        return False
    remark(out, recommendation)
    return True


def remark(out: Output, recommendation: Recommendation) -> None:
    """Say in the run's note that an order which stands answers this, so that it is not proposed again."""
    placed = recommendation.placed
    if placed is None:
        return
    out.remarks.append(
        f"Not proposed again: {wording.title(recommendation)}, {recommendation.priority}; "
        f"{placed.reference or 'an order'} is {placed.status} with priority {placed.priority or 'routine'}."
    )


def identifiers(out: Output, recommendation: Recommendation) -> list[Resource]:
    """Return the request key and the answer key as identifiers."""
    pairs = ((keys.REQUEST_KEY, recommendation.request_key), (keys.ANSWER_KEY, recommendation.answer_key))
    return [{"system": out.system(system), "value": _own(out, value)} for system, value in pairs]


def _own(out: Output, key: str) -> str:
    """Return a key that no other newborn can have: one without a name is told apart by the run."""
    named = out.assessment.patient or subject.identifiers(out)
    return key if named else f"{key}.{out.run}"


def create(out: Output, resource: Resource) -> str:
    """Add a proposal, created unless a resource with its answer key exists; return its reference."""
    answer = next(one for one in resource["identifier"] if one["system"] == out.system(keys.ANSWER_KEY))
    condition = keys.token("identifier", answer["system"], answer["value"])
    return out.create(resource, f"{keys.ANSWER_KEY}#{answer['value']}", condition)


def shared(out: Output, recommendation: Recommendation, kind: str) -> Resource:
    """Return the elements that a ServiceRequest and a CommunicationRequest have in common."""
    resource: Resource = {"resourceType": kind, "identifier": identifiers(out, recommendation)}
    if recommendation.subject == "mother":
        concepts.label_mother(resource)
    replaces = history.replaced(out, recommendation, kind)
    if replaces:
        resource["replaces"] = replaces
    resource |= {"status": "draft", "priority": recommendation.priority, "authoredOn": out.at}
    resource |= subject.about(out)
    resource["occurrencePeriod"] = occurrence(out, recommendation)
    resource["reasonCode"] = [{"text": text} for text in dict.fromkeys(r.because for r in recommendation.reasons)]
    return resource


def occurrence(out: Output, recommendation: Recommendation) -> Resource:
    """Return the window; "now" begins at the visit and has no end."""
    window = recommendation.window
    return period(window.start, window.until) or {"start": out.at}


def evidence_for(
    out: Output, evidence: Evidence, recommendation: Recommendation
) -> tuple[list[Resource], list[Resource]]:
    """Return what may stand in `reasonReference`, and the rest for where anything may stand."""
    used = [value for reason in recommendation.reasons for value in reason.values]
    reasons, others = split(out, evidence.references(out, used), REASONS)
    her = mother(out) if recommendation.subject == "mother" else None
    placed = recommendation.placed
    order = subject.point(out, placed.reference) if placed and placed.reference and placed.status != "draft" else None
    return reasons, [*others, *([her] if her else []), *([order] if order else [])]


def notes(out: Output, recommendation: Recommendation) -> list[dict[str, str]]:
    """Return the reasons, the reserve and the caution as Annotations."""
    reasons = [wording.reason(one) for one in recommendation.reasons]
    return wording.as_notes([*reasons, *wording.reserve(recommendation), out.assessment.caution])
