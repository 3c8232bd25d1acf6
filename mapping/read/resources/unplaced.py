"""A whole resource that cannot be used, and what it would have told of this visit: that may not be passed over."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, items
from layette.mapping.read.bundle.times import BadTimeError, effective
from layette.mapping.read.codes.charted import is_routine
from layette.mapping.read.codes.named import named_as_member, named_by, says_something, told_under, worded
from layette.mapping.read.codes.values import has_value
from layette.mapping.read.resources.ledger import NOTHING_TOLD, WITHDRAWN, Ledger, Told


def told_here(ledger: Ledger, entry: Entry) -> Told:
    """Return what an Observation or Condition tells of, where it can be of this visit; else nothing.

    What is withdrawn, as expected, or surely of another visit tells of nothing.
    """
    if entry.resource.get("status") in WITHDRAWN or not can_be_of_this_visit(ledger, entry, _effective):
        return NOTHING_TOLD
    told = list(_diagnosed(ledger, entry.resource) if entry.kind == "Condition" else _observed(ledger, entry))
    return next((one for one in told if one.finding), told[0] if told else NOTHING_TOLD)


def told_of_unknown(ledger: Ledger, holder: Resource, person: str, panel: object = None) -> Told:
    """Return what is told of this visit under a code that is not known: by its words, else that it is of no finding.

    Of a part that does not say it, the panel says what it may be.
    """
    finding = named_by(ledger.index, holder, person)
    if finding is None and says_something(holder):
        finding = named_as_member(ledger.index, panel, holder)
    if finding is None:
        return Told(here=says_something(holder))
    return Told(finding)


def unless_routine(told: Told, concept: object) -> Told:
    """Return what a reason, a diagnosis or a procedure tells; nothing where its words only say what visits are for."""
    return NOTHING_TOLD if not told.finding and is_routine(worded(concept)) else told


def can_be_of_this_visit(ledger: Ledger, entry: Entry, moment_of: Callable[[Resource], date | None]) -> bool:
    """Whether a resource can be of this visit: by its moment, or by a vague one, such as a month, that holds it.

    ``moment_of`` reads the moment of a resource, and raises BadTimeError.
    """
    try:
        moment = moment_of(entry.resource)
    except BadTimeError as bad:
        return ledger.may_be_today(entry, bad.value if bad.vague else bad.value[: len("2026-11-24")])
    if moment is not None and ledger.moment.span.after_visit(moment):
        return True
    return ledger.belongs(entry.resource, entry, moment) != "history"


def _effective(resource: Resource) -> date | None:
    return effective(resource)[1]


def _diagnosed(ledger: Ledger, resource: Resource) -> Iterator[Told]:
    stated = ledger.index.stated(codings(resource.get("code")))
    yield from (Told(meaning.finding) for meaning in stated)
    if not stated:
        yield told_of_unknown(ledger, resource, "baby")


def _observed(ledger: Ledger, entry: Entry) -> Iterator[Told]:
    if entry.kind != "Observation":
        return
    for holder in (entry.resource, *items(entry.resource.get("component"))):
        meanings = ledger.index.meanings(codings(holder.get("code")))
        if meanings and (has_value(holder) or meanings[0].values):
            found = ((ledger.index.findings[meaning.finding], meaning) for meaning in meanings)
            yield from (Told(told_under(finding, meaning, holder)) for finding, meaning in found)
        elif has_value(holder) and not meanings:
            yield told_of_unknown(ledger, holder, "baby", entry.panel)
