"""ServiceRequests: orders, proposals of ours with their window, what was declined, and values that were judged.

What we wrote ourselves is no evidence: a draft of ours says what was asked for before and until when, and one that a
later answer took the place of says nothing at all. Least of all that somebody declined it.
"""

from __future__ import annotations

from datetime import date

from layette.mapping.codes import OWN
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, items, mapping, text
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import parse
from layette.mapping.read.codes.amounts import Unclear
from layette.mapping.read.codes.sides import body_sides
from layette.mapping.read.resources.judgments import is_to_judge, read_judged_request
from layette.mapping.read.resources.ledger import Ledger, Told
from layette.mapping.read.resources.targets import named_in, order_sides, own_identifier, target_of, time_of
from layette.mapping.read.resources.unplaced import can_be_of_this_visit

STATUS_REASON = "http://hl7.org/fhir/StructureDefinition/request-statusReason"
_PRIORITIES = ("routine", "urgent", "asap", "stat")


def read_request(ledger: Ledger, entry: Entry) -> None:
    """Read a ServiceRequest as an order that stands or once stood for one of the pack's targets, or as a judgment."""
    resource = entry.resource
    if ledger.about(entry) is None:
        return
    if resource.get("status") == "entered-in-error":
        entry.mark(Outcome.NOT_USED, "it was entered in error")
    elif resource.get("status") == "revoked" and superseded(ledger, resource):
        entry.mark(Outcome.NOT_USED, "a proposal of Layette that a later one took the place of; nobody declined it")
    elif is_to_judge(ledger, resource):
        read_judged_request(ledger, entry)
    elif resource.get("doNotPerform") is True:
        entry.mark(Outcome.NOT_USED, "it says what is not to be done, so it orders nothing")
    else:
        _read_order(ledger, entry)


def superseded(ledger: Ledger, resource: Resource) -> bool:
    """Whether we took back a proposal of ours: any mark of it that a server kept will do."""
    mark = (f"{ledger.index.base}/{OWN['tags']}", "superseded")
    reasons = (one for one in items(resource.get("extension")) if one.get("url") == STATUS_REASON)
    said = [key[:2] for one in reasons for key in codings(one.get("valueCodeableConcept"))]
    said += [key[:2] for key in codings(resource.get("statusReason"))]
    tags = items(mapping(resource.get("meta")).get("tag"))
    said += [(text(tag.get("system")), text(tag.get("code"))) for tag in tags]
    return mark in said or own_identifier(ledger, resource, "answer-key-retired") is not None


def _pressing_now(ledger: Ledger, entry: Entry) -> Told:
    """Return that somebody asks for something pressing at this visit, of which the pack does not know what it is."""
    asked = entry.resource.get("status") == "active" and entry.resource.get("priority") in ("stat", "asap")
    return Told(here=asked and can_be_of_this_visit(ledger, entry, _authored))


def _authored(resource: Resource) -> date | None:
    return parse(resource["authoredOn"], "authoredOn") if "authoredOn" in resource else None


def _read_order(ledger: Ledger, entry: Entry) -> None:
    resource = entry.resource
    key = own_identifier(ledger, resource, "request-key")
    target = target_of(ledger, [resource.get("code")], told=False) or named_in(ledger, key)
    if target is None:
        unclear = Unclear("a request for nothing that the pack knows")
        ledger.keep(entry, unclear, ".code", resource.get("code"), told=_pressing_now(ledger, entry))
        return
    written, ends = time_of(ledger, entry, "authoredOn", check=False), _occurrence(ledger, entry)
    if written is None or ends is None:
        return
    priority = resource.get("priority")
    for side in order_sides(body_sides(resource.get("bodySite"), ledger.index.base)):
        item = {"target": target, "side": side, "status": text(resource.get("status")) or "unknown"}
        item |= {"priority": priority if priority in _PRIORITIES else None, "time": written[0], "request_key": key}
        item |= {"answer_key": own_identifier(ledger, resource, "answer-key"), "start": ends[0], "until": ends[1]}
        item |= {"reason": _reason(resource)}
        ledger.add_history(entry, "orders", item)


def _reason(resource: Resource) -> str | None:
    """Return why a request has its status, in the words of the record."""
    for one in items(resource.get("extension")):
        if one.get("url") == STATUS_REASON:
            concept = mapping(one.get("valueCodeableConcept"))
            named = (text(coding.get("display")) or text(coding.get("code")) for coding in items(concept.get("coding")))
            return text(concept.get("text")) or next((name for name in named if name), None)
    return None


def _occurrence(ledger: Ledger, entry: Entry) -> tuple[str | None, str | None] | None:
    """Return from when until when something is to be done, as written; None if one of these is no time."""
    one = "occurrenceDateTime"
    names = (one, one) if one in entry.resource else ("occurrencePeriod.start", "occurrencePeriod.end")
    start, end = (time_of(ledger, entry, name, check=False) for name in names)
    return None if start is None or end is None else (start[0], end[0])
