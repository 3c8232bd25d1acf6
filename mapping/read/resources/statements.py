"""What is said of this visit in resources that are not read as findings: reasons, conclusions, alerts, messages.

None of it becomes a finding. It is kept, and what may press is told: by its code or words, else as what nobody knows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date

from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, concept_codes, items, mapping, text
from layette.mapping.read.bundle.times import parse
from layette.mapping.read.codes.amounts import Unclear
from layette.mapping.read.codes.named import says_something
from layette.mapping.read.resources.ledger import NOTHING_TOLD, WITHDRAWN, Ledger, Told
from layette.mapping.read.resources.unplaced import can_be_of_this_visit, told_of_unknown, unless_routine

_TIMES = (
    "effectiveDateTime", "effectivePeriod", "occurrenceDateTime", "occurrencePeriod", "identifiedDateTime", "date",
    "sent", "received", "period", "recordedDate",
)  # fmt: skip
_OVER = {"inactive", "resolved", "completed-in-error", *WITHDRAWN}
Concept = Mapping[str, object]


def _words(*said: object) -> Iterator[Concept]:
    yield from ({"text": one} for one in said if isinstance(one, str) and one.strip())


def _concepts(of: object, element: str) -> Iterator[Concept]:
    yield from (mapping(one.get(element)) for one in items(of))


STATING: Mapping[str, Callable[[Resource], Iterator[Concept]]] = {
    "AdverseEvent": lambda one: iter(items([one.get("event")])),
    "AllergyIntolerance": lambda one: iter(items([one.get("code")])),
    "ClinicalImpression": lambda one: iter(
        (*_concepts(one.get("finding"), "itemCodeableConcept"), *_words(one.get("summary"), one.get("description")))
    ),
    "DetectedIssue": lambda one: iter((*items([one.get("code")]), *_words(one.get("detail")))),
    "FamilyMemberHistory": lambda one: _concepts(one.get("condition"), "code"),
    "Flag": lambda one: iter(items([one.get("code")])),
    "RiskAssessment": lambda one: _concepts(one.get("prediction"), "outcome"),
}
"""The kinds that state something of a person, with where they state it."""

_PATIENT = ("AllergyIntolerance", "DetectedIssue", "FamilyMemberHistory")


def keep_statements(ledger: Ledger, entry: Entry) -> None:
    """Keep what a resource of one of these kinds states, where it is about the newborn or the mother, and stands."""
    resource = entry.resource
    person = ledger.about(entry, "patient" if entry.kind in _PATIENT else "subject")
    standing = {text(resource.get("status")), *concept_codes(resource.get("clinicalStatus"))}
    if person is None or standing & _OVER:
        return
    here = can_be_of_this_visit(ledger, entry, _moment)
    of_family = entry.kind == "FamilyMemberHistory"
    for concept in STATING[entry.kind](resource):
        told = _told(ledger, concept, "mother" if of_family else person) if here else NOTHING_TOLD
        _keep(ledger, entry, concept, "", f"what a {entry.kind} says is no finding", told)


def keep_reasons(ledger: Ledger, entry: Entry) -> None:
    """Keep the reasons of this visit; what is routine says nothing."""
    for concept in items(entry.resource.get("reasonCode")):
        told = unless_routine(_told(ledger, concept, "baby"), concept)
        if any(told):
            _keep(ledger, entry, concept, ".reasonCode", "the reason for the visit is no finding", told)


def keep_conclusion(ledger: Ledger, entry: Entry) -> None:
    """Keep what a report concludes: a result counts at any visit."""
    resource = entry.resource
    said = {"code": resource.get("code"), "valueString": resource.get("conclusion")}
    why = "the conclusion of a report is not read"
    for concept in items(resource.get("conclusionCode")):
        _keep(ledger, entry, concept, ".conclusionCode", why, _told(ledger, concept, "baby"))
    if isinstance(said["valueString"], str) and says_something(said):
        _keep(ledger, entry, said["code"], ".conclusion", why, _told(ledger, said, "baby"), said)


def keep_messages(ledger: Ledger, entry: Entry) -> None:
    """Keep what a Communication without a topic says in words, where it can be of this visit."""
    here = can_be_of_this_visit(ledger, entry, _moment)
    for concept in _words(*(one.get("contentString") for one in items(entry.resource.get("payload")))):
        told = _told(ledger, concept, "baby") if here else NOTHING_TOLD
        _keep(ledger, entry, concept, ".payload", "a message is not read", told)


def keep_procedure(ledger: Ledger, entry: Entry, moment: date | None) -> None:
    """Keep a procedure that the pack does not know; what is routine says nothing of this visit."""
    concept = mapping(entry.resource.get("code"))
    here = ledger.belongs(entry.resource, entry, moment) != "history"
    told = unless_routine(_told(ledger, concept, "baby"), concept) if here else NOTHING_TOLD
    _keep(ledger, entry, concept, ".code", "a procedure that the pack does not know", told)


def _keep(
    ledger: Ledger, entry: Entry, concept: object, suffix: str, why: str, told: Told, holder: Resource | None = None
) -> None:
    ledger.keep(entry, Unclear(why), suffix, concept, told=told, holder=holder)


def _told(ledger: Ledger, concept: Resource, person: str) -> Told:
    """Return what a concept, or a report with its conclusion, tells of this visit."""
    holder = concept if "code" in concept else {"code": concept}
    stated = ledger.index.stated(codings(holder.get("code")))
    told = Told(stated[0].finding) if stated else told_of_unknown(ledger, holder, person)
    written = not codings(holder.get("code")) or "valueString" in holder
    return Told(told.finding, told.here or (written and bool(told.finding)))


def _moment(resource: Resource) -> date | None:
    key = next((key for key in _TIMES if key in resource), "")
    given = resource.get(key)
    value = mapping(given).get("end") or mapping(given).get("start") if isinstance(given, dict) else given
    return parse(value, key) if value is not None else None
