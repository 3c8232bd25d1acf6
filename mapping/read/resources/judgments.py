"""How somebody judged a value that the rules could not: a request to judge that was done, or an Observation about it.

It settles that value only, so it names it: the request by `reasonReference`, the Observation by `focus`. Who judged,
and what they found, has to be there; else it is kept and settles nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from layette.mapping.codes import OWN
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, items, mapping, reference, text, words
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import BadTimeError, effective
from layette.mapping.read.codes.amounts import Unclear
from layette.mapping.read.codes.sides import sides
from layette.mapping.read.resources.ledger import Ledger


def is_to_judge(ledger: Ledger, resource: Resource) -> bool:
    """Whether a ServiceRequest asks somebody to judge a value."""
    return _coded(ledger, resource, "judge")


def is_judgment(ledger: Ledger, resource: Resource) -> bool:
    """Whether an Observation says how a value was judged."""
    return _coded(ledger, resource, "judgment")


def _coded(ledger: Ledger, resource: Resource, code: str) -> bool:
    ours = f"{ledger.index.base}/{OWN['judgments']}"
    return any(known == code and system == ours for system, known, _ in codings(resource.get("code")))


def read_judged_request(ledger: Ledger, entry: Entry) -> None:
    """Read a request to judge that was done: its last note says what was found, and by whom."""
    resource = entry.resource
    if resource.get("status") != "completed":
        entry.mark(Outcome.NOT_USED, "a value to judge, and it does not say that it was judged")
        return
    note: Resource = next(reversed(list(items(resource.get("note")))), {})
    by = text(note.get("authorString")) or _name(note.get("authorReference")) or _performer(resource)
    _record(ledger, entry, "reasonReference", by, text(note.get("text")), note.get("time"))


def read_judgment(ledger: Ledger, entry: Entry) -> None:
    """Read an Observation of our code about the value in its `focus`; its own value or note is what was found."""
    resource = entry.resource
    if resource.get("status") not in ("final", "amended", "corrected"):
        entry.mark(Outcome.NOT_USED, "a judgment that is not final")
        return
    said = [text(resource.get("valueString")), *words(resource.get("valueCodeableConcept"))]
    said += [text(note.get("text")) for note in items(resource.get("note"))]
    try:
        time, _ = effective(resource)
    except BadTimeError as bad:
        ledger.refuse_time(entry, bad)
        return
    _record(ledger, entry, "focus", _performer(resource), next(filter(None, said), ""), time)


def _performer(resource: Resource) -> str:
    return next(filter(None, map(_name, items(resource.get("performer")))), "")


def _name(person: object) -> str:
    return text(mapping(person).get("display")) or reference(person)


def _record(ledger: Ledger, entry: Entry, element: str, by: str, outcome: str, time: object) -> None:
    if not by or not outcome:
        why = Unclear("a judgment that does not say by whom, or what was found")
        ledger.keep(entry, why, "", entry.resource.get("code"))
        return
    found = [item for link in items(entry.resource.get(element)) for item in _values(ledger, entry, link)]
    if not found:
        ledger.keep(entry, Unclear("the value that was judged is not in the input"), f".{element}")
        return
    told = {"by": by, "outcome": outcome} | ({"time": time} if isinstance(time, str) else {})
    ledger.history.setdefault("judged", []).extend(item | told for item in found)
    entry.mark(Outcome.USED)


def _values(ledger: Ledger, entry: Entry, link: Resource) -> Iterator[dict[str, Any]]:
    """Yield the finding, the side and the time of a value that a judgment points to."""
    value = ledger.inputs.resolve(reference(link), entry)
    if value is None or value.kind != "Observation":
        return
    try:
        time, _ = effective(value.resource)
    except BadTimeError:
        return
    holders = [value.resource, *items(value.resource.get("component"))]
    meanings = {m.finding: m for holder in holders for m in ledger.index.meanings(codings(holder.get("code")))}
    for name, meaning in meanings.items() if time else ():
        meant = sides(ledger.index.findings[name], meaning, value.resource, value.resource, ledger.index.base)
        for side in meant if isinstance(meant, tuple) else ():
            yield {"finding": name, "of": time} | ({"side": side} if side else {})
