"""What an Observation says beside its value: who told it, which "normal" filled it, in which words, what it asks."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from layette.mapping.codes import FAMILYS_WORDS, OWN
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, concept_codes, described, items, mapping, shown
from layette.mapping.read.codes.amounts import Fields, Unclear, number_text
from layette.mapping.read.codes.index import Finding
from layette.mapping.read.resources.ledger import Ledger, Told

_ELSEWHERE = {"as-text", "not-a-number", "negative-infinity", "positive-infinity"}
_FAILED = {"error", "unsupported"}
"""Reasons for no value that do not say that nobody looked: it stands elsewhere, or something went wrong."""


def said_beside(ledger: Ledger, entry: Entry, finding: str) -> dict[str, str]:
    """Return the system that filled a finding (``charted_by``) and the family's own words (``text``) where told."""
    system = next(_charted_by(ledger, entry, finding), None)
    words = " ".join(_familys_words(entry.resource))
    return ({"charted_by": system} if system else {}) | ({"text": words} if words else {})


def is_reported(ledger: Ledger, entry: Entry) -> bool:
    """Whether the family told it: our tag says so, or nobody but family performed it."""
    if tagged(ledger, entry.resource, "reported"):
        return True
    performers = entry.resource.get("performer")
    if not isinstance(performers, list) or not performers:
        return False
    return all(ledger.people.who(one, entry) is not None for one in performers)


def tagged(ledger: Ledger, resource: Resource, code: str) -> bool:
    """Whether a resource carries one of our tags."""
    meta = resource.get("meta")
    if not isinstance(meta, dict) or "tag" not in meta:
        return False
    system = f"{ledger.index.base}/{OWN['tags']}"
    return any(tag.get("system") == system and tag.get("code") == code for tag in items(meta["tag"]))


def _charted_by(ledger: Ledger, entry: Entry, finding: str) -> Iterator[str]:
    """Yield the system whose "normal" filled a finding, where our tag says so and that normal stands for it."""
    meta = entry.resource.get("meta")
    for tag in items(meta["tag"]) if isinstance(meta, dict) and "tag" in meta else ():
        code = tag.get("code")
        own = tag.get("system") == f"{ledger.index.base}/{OWN['findings']}"
        if own and isinstance(code, str) and finding in ledger.index.spreads.get(code, ()):
            yield code


def _familys_words(resource: Resource) -> Iterator[str]:
    """Yield the notes that are the family's own words; a note of anybody else is about the finding, not from them."""
    for note in items(resource.get("note")):
        text = note.get("text")
        if note.get("authorString") == FAMILYS_WORDS and isinstance(text, str):
            yield text


def keep_notes(ledger: Ledger, entry: Entry) -> None:
    """Keep the notes of anybody but the family, of what counts at this visit, to be told together.

    Where the reason for no value is that it stands in words, or that it went wrong, a note may be all that tells of it.
    """
    resource = entry.resource
    if "note" not in resource and "dataAbsentReason" not in resource:
        return
    found = [note.get("text") for note in items(resource.get("note")) if note.get("authorString") != FAMILYS_WORDS]
    notes = [shown(one) for one in found if isinstance(one, str)]
    reasons = concept_codes(resource.get("dataAbsentReason"))
    asked = ledger.index.meanings(codings(resource.get("code")))
    if reasons & _ELSEWHERE or (notes and reasons & _FAILED):
        told = Told(asked[0].finding if asked else "", here=True)
        said = "; ".join(notes) or f"no value, since {', '.join(sorted(reasons))}"
        ledger.keep(entry, Unclear("a note is not read", text=said), ".note", resource.get("code"), told=told)
        return
    shape = ledger.index.findings[asked[0].finding].shape if asked else None
    label = shape.label if shape else described(resource.get("code"))[1]
    told_alone = shape is not None and shape.private
    ledger.notes += [f"{label}: {'told alone' if told_alone else one}" if label else one for one in notes]


def asked_for(ledger: Ledger, resource: Resource) -> list[Finding]:
    """Return the findings that the codes of an Observation and of its components ask for."""
    holders = (resource, *items(resource.get("component")))
    meanings = (meaning for one in holders for meaning in ledger.index.meanings(codings(one.get("code"))))
    return [ledger.index.findings[meaning.finding] for meaning in meanings]


def came_later(ledger: Ledger, meant: list[Finding], moment: date | None) -> bool:
    """Whether this is a result of the day of the visit: blood is often drawn when the family has left the room."""
    awaited = bool(meant) and all(finding.shape.awaited for finding in meant)
    return awaited and moment is not None and ledger.moment.span.same_day(moment)


def printed(fields: Fields, source: object) -> dict[str, str]:
    """Return the number as it was printed, where its unit was read from print and not from a UCUM code."""
    given = mapping(mapping(source).get("valueQuantity"))
    if not given or given.get("code") is not None or given.get("unit") == fields.get("unit") or "unit" not in fields:
        return {}
    number = f"{given.get('comparator') or ''}{number_text(given.get('value'))}"
    return {"given": f"{number} {shown(given.get('unit') or '(no unit)')}"}
