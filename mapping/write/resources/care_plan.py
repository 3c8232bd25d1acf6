"""All that one visit proposes as one CarePlan, in the order of the answer, so that nothing is an orphan.

Not a RequestGroup: R4 wants its members with intent `option`, and an inbox filters on proposals. For inboxes that work
by task there is a Task beside it, which asks to approve the plan.
"""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.terms import PRIORITIES
from layette.mapping.write.resources import communications, history, requests
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import concepts, wording

_US_CATEGORY = {
    "system": "http://hl7.org/fhir/us/core/CodeSystem/careplan-category",
    "code": "assess-plan",
    "display": "Assessment and Plan of Treatment",
}
"""The category that US Core wants of a CarePlan (HL7/US-Core 20fc298, CodeSystem-careplan-category.json)."""
_APPROVE = {"system": "http://hl7.org/fhir/CodeSystem/task-code", "code": "approve"}


def group(out: Output) -> Resource:
    """Return the identifier that joins the requests of this run: that of the plan which holds them."""
    answers = sorted(requests.own(out, one.answer_key) for one in requests.proposed(out))
    told = sorted(communications.answers(out).values())
    return {"system": out.system(keys.PLAN), "value": keys.digest(_request_key(out), answers, told)}


def write(out: Output, activity: Sequence[Resource], supporting: Sequence[str], conditions: Sequence[str]) -> str:
    """Write the plan of what was proposed; return its reference, empty where nothing was."""
    if not activity:
        return ""
    request, answer = _request_key(out), keys.digest("CarePlan", out.group["value"])
    identifiers = [*requests.identifiers(out, request, answer), out.group]
    resource: Resource = {"resourceType": "CarePlan", "meta": {}, "identifier": identifiers}
    resource["instantiatesCanonical"] = [f"{out.base}/PlanDefinition/{out.assessment.pack.id}|{_version(out)}"]
    replaces = history.replaced(out, request, answer, "CarePlan")
    resource |= {"replaces": replaces} if replaces else {}
    resource |= {"status": keys.DRAFT, "intent": "proposal", "category": _category(out)}
    resource |= {"title": "Proposals of this visit"} | _verdict(out)
    resource |= subject.about(out) | {"created": out.at, "author": {"reference": out.device}}
    links = {"addresses": conditions, "supportingInfo": supporting}
    resource |= {name: [{"reference": link} for link in linked] for name, linked in links.items() if linked}
    resource["activity"] = [{"reference": link} for link in activity]
    return requests.create(out, resource)


def approval(out: Output, plan: str) -> None:
    """Write the Task that asks to approve the plan."""
    pressing = [one.priority for one in requests.proposed(out)] or ["routine"]
    about = subject.about(out)
    resource: Resource = {"resourceType": "Task", "status": "requested", "intent": "proposal"}
    resource |= {"priority": min(pressing, key=PRIORITIES.index), "code": {"coding": [_APPROVE], "text": "Approve"}}
    resource |= _verdict(out) | {"focus": {"reference": plan}}
    resource |= {"for": about["subject"]} | ({"encounter": about["encounter"]} if "encounter" in about else {})
    resource |= {"authoredOn": out.authored, "requester": {"reference": out.device}}
    out.identified(resource, keys.PROPOSAL_KEY, keys.digest("approve", out.group["value"]))


def _verdict(out: Output) -> Resource:
    """Return the verdict, unless it could name what concerns the mother: the plan is not restricted."""
    hers = out.assessment.verdict.names_mother or any(one.subject == "mother" for one in requests.proposed(out))
    return {} if hers else {"description": wording.clean(out.assessment.verdict.text)}


def _request_key(out: Output) -> str:
    return keys.digest(out.patient_key, "plan")


def _version(out: Output) -> str:
    return out.assessment.pack.version


def _category(out: Output) -> list[Resource]:
    theirs = [_US_CATEGORY] if out.assessment.pack.jurisdiction == "US" else []
    return [concepts.concept([*theirs, concepts.coding(out.system(keys.CATEGORIES), "plan")], "plan of the visit")]
