"""What rules propose as a diagnosis: Conditions that nobody has confirmed, each with what it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from layette.engine.answer.shapes.proposed import Diagnosis, Reason, Recommendation
from layette.mapping.write.resources.evidence import Evidence
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import body, concepts, wording

_CATEGORY = "http://terminology.hl7.org/CodeSystem/condition-category"
_CLINICAL = "http://terminology.hl7.org/CodeSystem/condition-clinical"
_VERIFICATION = "http://terminology.hl7.org/CodeSystem/condition-ver-status"


@dataclass
class _Proposed:
    """One diagnosis of one side, with every reason that proposes it."""

    diagnosis: Diagnosis
    side: str | None
    reasons: dict[str, Reason] = field(default_factory=dict)

    @property
    def status(self) -> str:
        """How sure: provisional as long as something not yet recorded could replace every reason."""
        return "unconfirmed" if any(one.status == "fired" for one in self.reasons.values()) else "provisional"


def write(out: Output, evidence: Evidence) -> list[str]:
    """Write a Condition for each diagnosis that a rule proposes, once, however many requests rest on it.

    Returns references to them.
    """
    return [_create(out, evidence, proposed) for proposed in _proposed(out).values()]


def _proposed(out: Output) -> dict[tuple[str, str | None], _Proposed]:
    by_place: dict[tuple[str, str | None], _Proposed] = {}
    for recommendation in _all(out):
        for reason in recommendation.reasons:
            if reason.diagnosis is None:
                continue
            if recommendation.subject == "mother":
                # A Condition has no `focus`: the mother's would stand in the newborn's own record.
                out.remarks.append(f"Not written, because it is the mother's: {reason.diagnosis.label}.")
                continue
            place = (reason.diagnosis.label, recommendation.side)
            by_place.setdefault(place, _Proposed(reason.diagnosis, recommendation.side)).reasons[reason.rule] = reason
    return by_place


def _all(out: Output) -> Iterator[Recommendation]:
    made = out.assessment
    groups = (made.recommendations, made.to_chase, made.standing, made.avoid, made.guidance, made.reassurance)
    for group in groups:
        yield from group


def _create(out: Output, evidence: Evidence, proposed: _Proposed) -> str:
    label, side = proposed.diagnosis.label, proposed.side
    resource: Resource = {"resourceType": "Condition", "meta": concepts.computed(out)}
    resource["clinicalStatus"] = concepts.concept([concepts.coding(_CLINICAL, "active", "Active")], "active")
    status = concepts.coding(_VERIFICATION, proposed.status, proposed.status.capitalize())
    resource["verificationStatus"] = concepts.concept([status], f"proposed by rules, {proposed.status}")
    kind = concepts.coding(_CATEGORY, "encounter-diagnosis", "Encounter Diagnosis")
    resource["category"] = [concepts.concept([kind], "Encounter Diagnosis")]
    resource["code"] = concepts.concept(concepts.verified(proposed.diagnosis.codes), label)
    sites = body.sites(out, side, [value for reason in proposed.reasons.values() for value in reason.values])
    resource |= {"bodySite": sites} if sites else {}
    resource |= subject.about(out) | {"recordedDate": out.at} | _evidence(out, evidence, proposed)
    reasons = [f"Proposed, not confirmed. {wording.reason(reason)}" for reason in proposed.reasons.values()]
    resource["note"] = wording.as_notes(reasons)
    codes = [(code.system, code.code) for code in proposed.diagnosis.codes]
    key = keys.digest(out.patient_key, "diagnosis", label, codes, side, proposed.status)
    return out.identified(resource, keys.PROPOSAL_KEY, key)


def _evidence(out: Output, evidence: Evidence, proposed: _Proposed) -> Resource:
    used = [value for reason in proposed.reasons.values() for value in reason.values]
    details = [{"reference": name} for name in evidence.references(out, used)]
    return {"evidence": [{"detail": details}]} if details else {}
