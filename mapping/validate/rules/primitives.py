"""Checks of bare values that a JSON Schema cannot make: real days, whole numbers, visible text.

Each check returns ``None`` or ``(key, sentence)``. A value of the wrong kind is left to the schema check.
"""

from __future__ import annotations

import re
from calendar import monthrange
from collections.abc import Callable, Mapping

Finding = tuple[str, str]
Check = Callable[[object], Finding | None]

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")
_BASE64 = re.compile(r"[0-9A-Za-z+/]+={0,2}", re.ASCII)
_OID = re.compile(r"urn:oid:[0-2](?:\.(?:0|[1-9][0-9]*))+", re.ASCII)
_DAY = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})", re.ASCII)


def text(value: object) -> Finding | None:
    """Check a string: something to see, no control characters."""
    if type(value) is not str:
        return None
    if not value or value.isspace():
        return "blank", "This text has no visible character; leave the element out or fill it."
    if not value.isprintable() and _CONTROL.search(value):
        return "control-character", "This text holds a control character; only tab and line breaks are allowed."
    return None


def plain_text(value: str) -> bool:
    """Return whether a string is surely right by `text`; of one of several lines it asks more closely."""
    return (value.isprintable() and value != "" and not value.isspace()) or text(value) is None


def day(value: object) -> Finding | None:
    """Check a date, dateTime or instant: the day must be in the calendar."""
    if type(value) is not str or len(value) < 10 or value[8:10] <= "28":
        return text(value) if value == "" else None
    match = _DAY.match(value)
    if match is None:
        return None
    year, month, number = map(int, match.groups())
    if 1 <= month <= 12 and year and number > monthrange(year, month)[1]:
        last = monthrange(year, month)[1]
        return "date", f"There is no day {value[:10]}; {year:04}-{month:02} ends on the {last}th."
    return None


def integer(least: int) -> Check:
    """Return the check of a whole number from ``least`` to 2,147,483,647, as R4 bounds all three kinds."""

    def check(value: object) -> Finding | None:
        if type(value) is int:
            if least <= value <= 2_147_483_647:
                return None
            return "integer", f"This number is out of range; {least} to 2147483647 is allowed."
        if isinstance(value, (str, bool)) or value is None or isinstance(value, (list, dict)):
            return None
        return "integer", "This number must be whole, written without a point or exponent."

    return check


def base64(value: object) -> Finding | None:
    """Check base64: groups of four characters, padded."""
    if type(value) is not str:
        return None
    packed = "".join(value.split())
    if packed and (len(packed) % 4 or not _BASE64.fullmatch(packed)):
        return "base64", "This is not base64; encode the bytes in groups of four characters, padded with =."
    return text(value)


def uri(value: object) -> Finding | None:
    """Check a URI: ``urn:oid:`` and ``urn:uuid:`` are in lower case, and an OID is one."""
    if type(value) is str and value[:4].lower() == "urn:":
        scheme = value[: value.find(":", 4) + 1]
        if scheme != scheme.lower() and scheme.lower() in {"urn:oid:", "urn:uuid:"}:
            return "format", f"R4 writes {scheme.lower()} in lower case, and compares letter by letter."
        if scheme == "urn:oid:" and not _OID.fullmatch(value):
            return "format", "After urn:oid: stand numbers joined by points, such as urn:oid:2.16.840.1.113883.6.1."
    return text(value)


def element_id(value: object) -> Finding | None:
    """Check the id of an element inside a resource: any text without spaces."""
    if type(value) is str and len(value.split()) > 1:
        return "format", "The id of an element holds no spaces."
    return text(value)


CHECKS: Mapping[str, Check] = {
    "base64Binary": base64,
    "canonical": uri,
    "code": text,
    "date": day,
    "dateTime": day,
    "id": text,
    "instant": day,
    "integer": integer(-2_147_483_648),
    "markdown": text,
    "oid": uri,
    "positiveInt": integer(1),
    "string": text,
    "unsignedInt": integer(0),
    "uri": uri,
    "url": uri,
}
"""Primitive type -> its check; the types left out are fully checked by the schema."""
