"""Readings that one resource gives in pieces: the parts of a screen, pounds and ounces, a value and its qualifier."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Any

from layette.mapping.read.codes.amounts import Fields, pounds_and_ounces, weeks_and_days
from layette.mapping.read.codes.index import CodeMeaning


@dataclass(slots=True)
class Said:
    """One thing that a resource says: what its code means, what was answered, and where it stands.

    ``fields`` goes into the reading. ``place`` is the element of the answer, ``suffix`` that of its holder.
    """

    meaning: CodeMeaning
    fields: Fields
    place: str
    suffix: str = ""
    side: str | None = None
    further: dict[str, Any] = field(default_factory=dict)
    source: Any = None


def together(said: Iterable[Said]) -> list[Said]:
    """Return one entry for each reading: parts joined, pounds and ounces added, qualifiers put to their value."""
    pieces = list(said)
    if len(pieces) == 1 and not pieces[0].meaning.part and not pieces[0].further:
        return [piece for piece in pieces if not piece.meaning.qualifier]
    qualifiers = [piece for piece in pieces if piece.meaning.qualifier]
    readings: list[Said] = []
    for piece in pieces:
        if not piece.meaning.qualifier:
            _join(readings, replace(piece, fields=_own_fields(piece)) if piece.meaning.part is not None else piece)
    return [_qualified(piece, qualifiers) for piece in readings]


def _own_fields(one: Said) -> Fields:
    """Return the fields of one piece, its value under the name of its part."""
    part = one.meaning.part
    if part is None:
        return one.fields
    if "absent" in one.fields:
        return {"part": part, **one.fields}
    return {part: one.fields["value"], **{key: v for key, v in one.fields.items() if key != "value"}}


def _join(readings: list[Said], one: Said) -> None:
    for place, other in enumerate(readings):
        if (other.meaning.finding, other.side) != (one.meaning.finding, one.side):
            continue
        joined = _parts(other, one) or _amounts(other, one)
        if joined is not None:
            readings[place] = joined
            return
    readings.append(one)


def _parts(first: Said, second: Said) -> Said | None:
    """Join two different parts; a second reading of the same part stays on its own."""
    if not first.meaning.part or not second.meaning.part or second.meaning.part in first.fields:
        return None
    if "absent" in first.fields or "absent" in second.fields:
        return None
    units = {one.fields["unit"] for one in (first, second) if "unit" in one.fields}
    if len(units) > 1:
        return None
    return replace(first, fields={**first.fields, **second.fields}, place="")


def _amounts(first: Said, second: Said) -> Said | None:
    total = pounds_and_ounces(first.fields, second.fields) or weeks_and_days(first.fields, second.fields)
    if total is None:
        return None
    given = " ".join(f"{one.fields['value']} {one.fields['unit']}" for one in (first, second))
    return replace(first, fields={**total, "given": given}, place="", source=None)


def _qualified(one: Said, qualifiers: list[Said]) -> Said:
    named = {
        q.meaning.qualifier: q.fields["value"]
        for q in qualifiers
        if q.meaning.qualifier and q.meaning.finding == one.meaning.finding and "value" in q.fields
    }
    return replace(one, fields={**one.fields, **one.further, **named}) if one.further or named else one
