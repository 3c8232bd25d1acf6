"""What all proposals share: two identifiers, reasons, what they rest on, and what they replace."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from layette.engine.answer.shapes.proposed import Recommendation, ToJudge, Used
from layette.mapping.write.resources import history
from layette.mapping.write.resources.evidence import REASONS, Evidence, split
from layette.mapping.write.resources.mother import mother
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, period
from layette.mapping.write.words import concepts, wording


def proposed(out: Output) -> Iterator[Recommendation | ToJudge]:
    """Yield what is proposed in the order of the answer: now, to chase, to judge, the rest by deadline, what not to do.

    What the engine proposes is written, whatever stands beside it: it has weighed the orders of the history already.
    """
    made = out.assessment
    yield from (one for group in made.do if group.deadline == "now" for one in group.items)
    yield from made.to_chase
    yield from made.to_judge
    yield from (one for group in made.do if group.deadline != "now" for one in group.items)
    yield from made.avoid


def remark(out: Output, recommendation: Recommendation) -> None:
    """Say in the run's note that an order which stands answers this, so that it is not proposed again."""
    placed = recommendation.placed
    if placed is None:
        return
    out.remarks.append(
        f"Not proposed again: {wording.title(recommendation)}, {recommendation.priority}; "
        f"{placed.reference or 'an order'} is {placed.status} with priority {placed.priority or 'routine'}."
    )


def identifiers(out: Output, request_key: str, answer_key: str) -> list[Resource]:
    """Return the request key and the answer key as identifiers."""
    pairs = ((keys.REQUEST_KEY, request_key), (keys.ANSWER_KEY, answer_key))
    return [{"system": out.system(system), "value": own(out, value)} for system, value in pairs]


def own(out: Output, key: str) -> str:
    """Return a key that no other newborn can have: one without a name is told apart by the run."""
    named = out.assessment.patient or out.identifiers
    return key if named else f"{key}.{out.run}"


def create(out: Output, resource: Resource) -> str:
    """Add a proposal, created unless a resource with its answer key exists; return its reference."""
    system = out.system(keys.ANSWER_KEY)
    return out.proposed(resource, next(one["value"] for one in resource["identifier"] if one["system"] == system))


def head(out: Output, kind: str, one: Recommendation | ToJudge) -> Resource:
    """Return the elements with which a request begins: its keys, what it replaces, how pressing, of whom, by whom."""
    resource: Resource = {"resourceType": kind, "identifier": identifiers(out, one.request_key, one.answer_key)}
    if one.subject == "mother":
        concepts.label_mother(resource)
    replaces = history.replaced(out, one.request_key, one.answer_key, kind, getattr(one, "placed", None))
    if replaces:
        resource["replaces"] = replaces
    resource |= {"status": keys.DRAFT, "priority": one.priority, "authoredOn": out.authored}
    return resource | {"requester": {"reference": out.device}} | subject.about(out)


def occurrence(out: Output, recommendation: Recommendation) -> Resource:
    """Return the window; "now" begins at the visit and has no end."""
    window = recommendation.window
    return period(window.start, window.until) or {"start": out.at}


def resting_on(out: Output, evidence: Evidence, one: Recommendation | ToJudge) -> Resource:
    """Return what may stand in `reasonReference`, and the rest in `supportingInfo`, where anything may stand."""
    reasons, others = split(out, evidence.references(out, values_of(one)), REASONS)
    her = mother(out) if one.subject == "mother" else None
    placed = one.placed if isinstance(one, Recommendation) else None
    order = subject.point(out, placed.reference) if placed and placed.reference and placed.status != "draft" else None
    supporting = [*others, *([her] if her else []), *([order] if order else [])]
    found = {"reasonReference": reasons, "supportingInfo": supporting}
    return {name: links for name, links in found.items() if links}


def values_of(one: Recommendation | ToJudge) -> Iterable[Used]:
    """Return the recorded values behind a proposal."""
    if isinstance(one, ToJudge):
        return one.values
    return [value for reason in one.reasons for value in reason.values]
