"""The fields of an HL7 v2 segment in FHIR's shapes: times, codes, values. What does not fit stays as it was written."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from layette.mapping.codes import INTERPRETATION, SYSTEMS
from layette.mapping.read.hl7v2.segments import Repetition, part

_TIME = re.compile(r"(\d{4})(\d\d)?(\d\d)?(?:(\d\d)(\d\d)(\d\d)?(?:\.\d{1,4})?)?([+-]\d{4})?")
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)")
_SYSTEMS: Mapping[str, str] = {
    "LN": SYSTEMS["loinc"], "2.16.840.1.113883.6.1": SYSTEMS["loinc"],
    "SCT": SYSTEMS["snomed"], "2.16.840.1.113883.6.96": SYSTEMS["snomed"],
    "I10C": SYSTEMS["icd10cm"], "CVX": SYSTEMS["cvx"], "HL70078": INTERPRETATION,
}  # fmt: skip
STATUS: Mapping[str, str] = {
    "F": "final", "U": "final", "C": "corrected", "P": "preliminary", "R": "preliminary", "S": "preliminary",
    "I": "registered", "O": "registered", "X": "cancelled", "N": "cancelled", "D": "entered-in-error",
    "W": "entered-in-error",
}  # fmt: skip
"""Table 0085 (OBX-11) in the words of FHIR."""

_TEXTS = ("ST", "TX", "FT", "ID", "IS")
_TIMES = ("DT", "TM", "DTM", "TS")


def time(written: str, zone: ZoneInfo | None, offset: str) -> str:
    """Return a time as FHIR writes it. What is no time stays as it is, so that reading can say so.

    The offset is its own, else that of the message (MSH-7), else the site's; an hour that the site's clocks show
    twice or never gets none.
    """
    match = _TIME.fullmatch(written)
    if match is None:
        return written
    year, month, day, hour, minute, second, own = match.groups()
    date = "-".join(piece for piece in (year, month, day) if piece)
    if hour is None:
        return date
    said = f"{date}T{hour}:{minute}:{second or '00'}"
    shift = own or offset
    return f"{said}{shift[:3]}:{shift[3:]}" if shift else said + _offset_at(said, zone)


def _offset_at(said: str, zone: ZoneInfo | None) -> str:
    try:
        local = datetime.fromisoformat(said).replace(tzinfo=zone)
    except ValueError:
        return ""
    if zone is None or local.utcoffset() != local.replace(fold=1).utcoffset():
        return ""
    return local.isoformat()[19:]


def concept(of: Repetition | None) -> dict[str, Any] | None:
    """Return a CE or CWE as a CodeableConcept with its identifier, its alternate and its original text."""
    coded = [_coding(of, first) for first in (1, 4) if part(of, first)]
    said = part(of, 9) or part(of, 2) or part(of, 5)
    found: dict[str, Any] = {"coding": coded} if coded else {}
    return found | ({"text": said} if said else {}) or None


def _coding(of: Repetition | None, first: int) -> dict[str, Any]:
    system = part(of, first + 2)
    given = {"system": _SYSTEMS.get(system, system), "code": part(of, first), "display": part(of, first + 1)}
    return {key: value for key, value in given.items() if value}


def interpretation(several: list[Repetition]) -> list[dict[str, Any]]:
    """Return OBX-8, whose codes are those of FHIR."""
    codes = [part(one, 1) for one in several if part(one, 1)]
    return [{"coding": [{"system": INTERPRETATION, "code": code}]} for code in codes]


def value(kind: str, several: list[Repetition], unit: Repetition | None) -> dict[str, Any]:
    """Return OBX-5 of a type (OBX-2) as the element value[x]; empty where nothing is given."""
    values = [parts for parts in several if any(part(parts, number + 1) for number in range(len(parts)))]
    if not values:
        return {}
    if len(values) == 1 and kind == "NM":
        return _number(part(values[0], 1), _unit(unit))
    if len(values) == 1 and kind == "SN":
        return _structured([part(values[0], number) for number in (1, 2, 3, 4)], _unit(unit))
    if len(values) == 1 and kind in ("CE", "CWE", "CNE", "CF"):
        return {"valueCodeableConcept": concept(values[0])}
    said = " ".join("^".join(parts) for parts in values)
    return {"valueDateTime" if kind in _TIMES else "valueString": said if kind in _TEXTS else f"{kind} {said}"}


def _unit(of: Repetition | None) -> dict[str, str]:
    """Return OBX-6: a UCUM code if it says so, else what people print."""
    if part(of, 3) != "UCUM":
        return {"unit": part(of, 1) or part(of, 2)} if part(of, 1) or part(of, 2) else {}
    printed = {"unit": part(of, 2)} if part(of, 2) else {}
    return {**printed, "system": SYSTEMS["ucum"], "code": part(of, 1)}


def _amount(said: str) -> Decimal | str:
    return Decimal(said) if _NUMBER.fullmatch(said) else said


def _number(said: str, unit: dict[str, str]) -> dict[str, Any]:
    if not unit and said.isascii() and said.isdigit():
        return {"valueInteger": int(said[:20])}
    return {"valueQuantity": {"value": _amount(said), **unit}}


def _structured(parts: list[str], unit: dict[str, str]) -> dict[str, Any]:
    """Return a structured number: ``>^20``, or ``^10^-^12``; a ratio stays text."""
    sign, first, between, last = parts
    compared = {"comparator": sign} if sign not in ("", "=") else {}
    if not between and not last:
        return {"valueQuantity": {"value": _amount(first), **compared, **unit}}
    if between == "-" and not sign:
        return {"valueRange": {key: {"value": _amount(end), **unit} for key, end in (("low", first), ("high", last))}}
    return {"valueString": "".join(parts)}
