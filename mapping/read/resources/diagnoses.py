"""Conditions: a diagnosis whose code states a finding's value by itself."""

from __future__ import annotations

from datetime import date
from typing import Any

from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, concept_codes, mapping, reference
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import BadTimeError, parse
from layette.mapping.read.codes.amounts import Unclear, Wrong
from layette.mapping.read.codes.index import CodeMeaning
from layette.mapping.read.codes.sides import sides
from layette.mapping.read.resources.ledger import NOTHING_TOLD, Ledger, Told, Where
from layette.mapping.read.resources.observations import is_computed
from layette.mapping.read.resources.unplaced import told_of_unknown, unless_routine

_ACTIVE = {"active", "recurrence", "relapse"}
_TENTATIVE = {"unconfirmed", "provisional"}
_OVER = "a diagnosis that is no longer active"
_UNDATED = "neither a clinical status, nor a date, nor an Encounter"
_TIMES = ("recordedDate", "onsetDateTime", "onsetPeriod")


def read_condition(ledger: Ledger, entry: Entry) -> None:
    """Read one Condition: an active one, not refuted, whose code the dictionary knows."""
    resource = entry.resource
    if is_computed(ledger, resource):
        entry.mark(Outcome.NOT_USED, "it was proposed by Layette, not diagnosed")
        return
    person = ledger.about(entry)
    if person is None:
        return
    why = _not_standing(resource)
    if why is not None:
        ledger.keep(entry, Unclear(why), "", resource.get("code"), told=Told(_not_over(ledger, entry, why)))
        return
    stated = [a for a in ledger.index.stated(codings(resource.get("code"))) if _fits(ledger, a, person)]
    if not stated:
        unclear = Unclear("a diagnosis that states no finding of the dictionary")
        ledger.keep(entry, unclear, ".code", resource.get("code"), told=_named(ledger, entry, person))
        return
    _record_all(ledger, entry, stated, person)


def _not_over(ledger: Ledger, entry: Entry, why: str) -> str:
    """Return the finding of a Condition that does not stand, and yet may not be passed over.

    What was an event at this visit is no less one because it is over; and one of no known time may be of today.
    """
    stated = ledger.index.stated(codings(entry.resource.get("code")))
    if why == _UNDATED:
        return stated[0].finding if stated else ""
    if why != _OVER:
        return ""
    try:
        here = ledger.belongs(entry.resource, entry, _time(entry.resource)[2]) == "visit"
    except BadTimeError as bad:
        here = ledger.may_be_today(entry, bad.value)
    events = [a.finding for a in stated if a.values & set(ledger.index.findings[a.finding].shape.event)]
    return events[0] if here and events else ""


def _named(ledger: Ledger, entry: Entry, person: str) -> Told:
    """Return what an unknown diagnosis of this visit tells."""
    try:
        here = ledger.belongs(entry.resource, entry, _time(entry.resource)[2]) != "history"
    except BadTimeError as bad:
        here = ledger.may_be_today(entry, bad.value)
    told = told_of_unknown(ledger, entry.resource, person) if here else NOTHING_TOLD
    return unless_routine(told, entry.resource.get("code"))


def _fits(ledger: Ledger, meaning: CodeMeaning, person: str) -> bool:
    return meaning.plainly or ledger.index.findings[meaning.finding].person == person


def _not_standing(resource: Resource) -> str | None:
    """Return why a Condition says nothing about today, or None."""
    verification = concept_codes(resource.get("verificationStatus"))
    for code in ("entered-in-error", "refuted", "differential"):
        if code in verification:
            return f"a diagnosis that is {code.replace('-', ' ')}"
    clinical = concept_codes(resource.get("clinicalStatus"))
    if clinical and not clinical & _ACTIVE:
        return _OVER
    dated = any(key in resource for key in _TIMES)
    if not clinical and not dated and not reference(resource.get("encounter")):
        return _UNDATED
    return None


def _time(resource: Resource) -> tuple[str, str | None, date | None]:
    """Return the time at which a diagnosis was recorded, else that of its onset: element, text, parsed."""
    for key in _TIMES:
        if key in resource:
            value: Any = resource[key]
            if key == "onsetPeriod":
                value = mapping(value).get("start")
            return key, value, parse(value, key)
    return "", None, None


def _record_all(ledger: Ledger, entry: Entry, stated: list[CodeMeaning], person: str) -> None:
    resource = entry.resource
    try:
        key, text, moment = _time(resource)
    except BadTimeError as bad:
        ledger.refuse_time(entry, bad, told=Told(stated[0].finding if ledger.may_be_today(entry, bad.value) else ""))
        return
    linked = bool(reference(resource.get("encounter")))
    if linked and key != "recordedDate":
        text = moment = None
    wrong = ledger.check_time(moment, text, key, of_baby=person == "baby")
    if wrong is not None:
        ledger.refuse(entry, wrong)
        return
    where = ledger.belongs(resource, entry, moment) or "visit"
    tentative = bool(concept_codes(resource.get("verificationStatus")) & _TENTATIVE)
    shared: dict[str, Any] = {"time": text} if text else {}
    shared["status"] = "preliminary" if tentative else "final"
    for finding, values in _by_finding(stated).items():
        counts = "visit" if _just_happened(ledger, entry, values, moment) else where
        for reading in _readings(ledger, entry, finding, values, counts):
            ledger.record(entry, finding, {**reading, **shared, **_origin(entry)}, counts, moment)


def _just_happened(ledger: Ledger, entry: Entry, stated: list[CodeMeaning], moment: date | None) -> bool:
    """Whether an active diagnosis is of an event of the last 24 hours."""
    active = concept_codes(entry.resource.get("clinicalStatus")) & _ACTIVE
    return bool(active) and ledger.just_happened(ledger.index.findings[stated[0].finding], stated[0].values, moment)


def _origin(entry: Entry) -> dict[str, str]:
    return {**({"origin": entry.origin} if entry.origin else {}), "path": f"{entry.path}.code"}


def _by_finding(stated: list[CodeMeaning]) -> dict[str, list[CodeMeaning]]:
    found: dict[str, list[CodeMeaning]] = {}
    for meaning in stated:
        found.setdefault(meaning.finding, []).append(meaning)
    return found


def _readings(ledger: Ledger, entry: Entry, name: str, stated: list[CodeMeaning], where: Where) -> list[dict[str, Any]]:
    """Return the readings of one finding; codes that leave nothing in common are a contradiction."""
    finding = ledger.index.findings[name]
    code = entry.resource.get("code")
    common = frozenset.intersection(*(meaning.values for meaning in stated))
    exact = frozenset.intersection(*(frozenset(_exact(ledger, name, meaning.values)) for meaning in stated))
    value = finding.sheet.together(set(common or exact))
    if not exact:
        names = ", ".join(sorted({v for meaning in stated for v in meaning.values}))
        ledger.refuse(entry, Wrong("contradiction", "codes that state different values", names, "one value"), ".code")
        return []
    named = name if where == "visit" else ""
    if value is None:
        ledger.keep(entry, Unclear(f"it does not say which value of {name}"), ".code", code, told=Told(named))
        return []
    spoken = next((meaning for meaning in stated if meaning.side), stated[0])
    meant = sides(finding, spoken, entry.resource, entry.resource, ledger.index.base)
    if isinstance(meant, Wrong):
        ledger.refuse(entry, meant)
        return []
    if isinstance(meant, Unclear):
        ledger.keep(entry, meant, ".code", code, told=Told(named))
        return []
    return [{"value": value, **({"side": side} if side else {})} for side in meant]


def _exact(ledger: Ledger, name: str, values: frozenset[str]) -> set[str]:
    sheet = ledger.index.findings[name].sheet
    return set().union(*(sheet.possible(value) for value in values))
