"""A whole resource that cannot be used, and what it would have told of this visit: that may not be passed over."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, items
from layette.mapping.read.bundle.times import BadTimeError, effective
from layette.mapping.read.codes.named import named_by, told_under
from layette.mapping.read.codes.values import has_value
from layette.mapping.read.resources.ledger import WITHDRAWN, Ledger


def told_here(ledger: Ledger, entry: Entry) -> str:
    """Return the finding that an Observation or Condition tells of, where it can be of this visit; else nothing.

    What is withdrawn, as expected, or surely of another visit tells of nothing.
    """
    if entry.resource.get("status") in WITHDRAWN or not can_be_of_this_visit(ledger, entry, _effective):
        return ""
    told = _diagnosed(ledger, entry.resource) if entry.kind == "Condition" else _observed(ledger, entry)
    return next(told, "")


def can_be_of_this_visit(ledger: Ledger, entry: Entry, moment_of: Callable[[Resource], date | None]) -> bool:
    """Whether a resource can be of this visit: by its moment, or by a vague one, such as a month, that holds it.

    ``moment_of`` reads the moment of a resource, and raises BadTimeError.
    """
    try:
        moment = moment_of(entry.resource)
    except BadTimeError as bad:
        return bad.vague and ledger.may_be_today(entry, bad.value)
    return ledger.belongs(entry.resource, entry, moment) != "history"


def _effective(resource: Resource) -> date | None:
    return effective(resource)[1]


def _diagnosed(ledger: Ledger, resource: Resource) -> Iterator[str]:
    yield from (meaning.finding for meaning in ledger.index.stated(codings(resource.get("code"))))


def _observed(ledger: Ledger, entry: Entry) -> Iterator[str]:
    if entry.kind != "Observation":
        return
    for holder in (entry.resource, *items(entry.resource.get("component"))):
        meanings = ledger.index.meanings(codings(holder.get("code")))
        if meanings and (has_value(holder) or meanings[0].values):
            found = ((ledger.index.findings[meaning.finding], meaning) for meaning in meanings)
            yield from filter(None, (told_under(finding, meaning, holder) for finding, meaning in found))
        elif has_value(holder) and (named := named_by(ledger.index, holder, "baby")):
            yield named
