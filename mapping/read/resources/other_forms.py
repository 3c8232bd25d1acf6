"""Answers to questionnaires that are not this pack's exam: not used, and yet none that may press is passed over."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from layette.mapping.codes import uri
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, items, text
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import parse
from layette.mapping.read.codes.amounts import Unclear
from layette.mapping.read.codes.index import CodeMeaning
from layette.mapping.read.codes.named import named_by, told_under
from layette.mapping.read.resources.ledger import WITHDRAWN, Ledger
from layette.mapping.read.resources.unplaced import can_be_of_this_visit

_WHY = "it answers another questionnaire than this pack's exam"


def keep_other_form(ledger: Ledger, entry: Entry) -> None:
    """Set a response aside; an answer of this visit to a question that the dictionary knows is kept with its finding.

    A question is known by the code at the end of its linkId (LOINC panels number their questions so), or by its words.
    """
    entry.mark(Outcome.NOT_USED, _WHY)
    if entry.resource.get("status") in WITHDRAWN or not can_be_of_this_visit(ledger, entry, _authored):
        return
    told = dict.fromkeys(named for item in _items(entry.resource) if (named := _told(ledger, item)))
    for named in told:
        ledger.keep(entry, Unclear(_WHY, named), "", finding=named)


def _authored(resource: Resource) -> date | None:
    return parse(resource["authored"], "authored") if "authored" in resource else None


def _items(holder: Resource) -> Iterator[Resource]:
    for item in items(holder.get("item")):
        yield item
        yield from _items(item)
        for given in items(item.get("answer")):
            yield from _items(given)


def _told(ledger: Ledger, item: Resource) -> str:
    code = text(item.get("linkId")).rpartition("/")[2]
    for given in items(item.get("answer")):
        holder = {
            _ANSWERS.get(key, key): _observed(key, value) for key, value in given.items() if key.startswith("value")
        }
        for meaning in ledger.index.meanings([(uri("loinc"), code, "")]) if holder else ():
            finding = ledger.index.findings[meaning.finding]
            if named := told_under(finding, CodeMeaning(finding.name, 0), holder):
                return named
        for person in ("baby", "mother") if holder else ():
            if named := named_by(ledger.index, {**holder, "code": {"text": text(item.get("text"))}}, person):
                return named
    return ""


_ANSWERS = {"valueCoding": "valueCodeableConcept", "valueDecimal": "valueQuantity"}


def _observed(key: str, value: object) -> object:
    """Return an answer as an Observation would hold it."""
    if key == "valueCoding":
        return {"coding": [value]}
    return {"value": value} if key == "valueDecimal" else value
