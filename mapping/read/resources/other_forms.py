"""Answers to questionnaires that are not this pack's exam: not used, and yet none that may press is passed over."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from layette.mapping.codes import OWN, uri
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, items, text, value_text
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import parse
from layette.mapping.read.codes.amounts import Unclear
from layette.mapping.read.codes.index import CodeMeaning
from layette.mapping.read.codes.named import named_by, says_something, told_under
from layette.mapping.read.resources.ledger import WITHDRAWN, Ledger, Told
from layette.mapping.read.resources.unplaced import can_be_of_this_visit

_WHY = "it answers another questionnaire than this pack's exam"


def keep_other_form(ledger: Ledger, entry: Entry) -> None:
    """Set a response aside; an answer of this visit to a question that the dictionary knows is kept with its finding.

    A question is known by the code at the end of its linkId (LOINC panels number their questions so), by a linkId of
    our own exam, or by its words. The answers to all others are told together, in the words of the form.
    """
    entry.mark(Outcome.NOT_USED, _WHY)
    if entry.resource.get("status") in WITHDRAWN or not can_be_of_this_visit(ledger, entry, _authored):
        return
    told: dict[str, None] = {}
    unknown: list[str] = []
    for item in _items(entry.resource):
        for holder in _answers(item):
            named = _told(ledger, item, holder)
            if named:
                told[named] = None
            elif named is None and says_something(holder):
                unknown.append(f"{text(item.get('text')) or text(item.get('linkId'))} {value_text(holder)}".strip())
    for named in told:
        ledger.keep(entry, Unclear(_WHY, named), told=Told(named))
    if unknown:
        number = f"form of {len(unknown)} answers: " if len(unknown) > 1 else "form: "
        ledger.keep(entry, Unclear(_WHY, text=number + "; ".join(unknown)), told=Told(here=True))


def _authored(resource: Resource) -> date | None:
    return parse(resource["authored"], "authored") if "authored" in resource else None


def _items(holder: Resource) -> Iterator[Resource]:
    for item in items(holder.get("item")):
        yield item
        yield from _items(item)
        for given in items(item.get("answer")):
            yield from _items(given)


def _answers(item: Resource) -> Iterator[Resource]:
    """Yield each answer to a question as an Observation would hold it."""
    for given in items(item.get("answer")):
        holder = {_ANSWERS.get(key, key): _observed(key, one) for key, one in given.items() if key.startswith("value")}
        if holder:
            yield holder


def _told(ledger: Ledger, item: Resource, holder: Resource) -> str | None:
    """Return the finding of which an answer tells; empty where it is as expected, None where nobody knows."""
    link = text(item.get("linkId"))
    own = (f"{ledger.index.base}/{OWN['findings']}", link, "")
    for coding in ((uri("loinc"), link.rpartition("/")[2], ""), own):
        found = [ledger.index.findings[meaning.finding] for meaning in ledger.index.meanings([coding])]
        if found:
            told = (told_under(finding, CodeMeaning(finding.name, 0), holder) for finding in found)
            return next(filter(None, told), "")
    asked = {**holder, "code": {"text": text(item.get("text"))}}
    named = (named_by(ledger.index, asked, person) for person in ("baby", "mother"))
    return next((one for one in named if one is not None), None)


_ANSWERS = {"valueCoding": "valueCodeableConcept", "valueDecimal": "valueQuantity"}


def _observed(key: str, value: object) -> object:
    """Return an answer as an Observation would hold it."""
    if key == "valueCoding":
        return {"coding": [value]}
    return {"value": value} if key == "valueDecimal" else value
