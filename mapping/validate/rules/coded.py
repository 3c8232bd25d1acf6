"""Checks of what identifies things: code systems and their codes, identifier systems, media types, currencies."""

from __future__ import annotations

import re
from functools import lru_cache

from layette.mapping.codes.digits import check_digit_ok
from layette.mapping.codes.systems import SYSTEMS
from layette.mapping.validate.rules.registry import Node, rule, string

_ABSOLUTE = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:\S+", re.ASCII)
_MEDIA_TYPE = re.compile(r"[!#$&^_.+A-Za-z0-9-]+/[!#$&^_.+A-Za-z0-9-]+(\s*;.*)?", re.ASCII | re.DOTALL)
_CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)
_DIGITS = re.compile(r"[0-9]+(-[0-9])?", re.ASCII)
_VALUE_SET = re.compile(r"https?://\S+/ValueSet/\S+", re.ASCII)


_MEANT = {
    "LOINC": SYSTEMS["loinc"],
    "LN": SYSTEMS["loinc"],
    "SNOMED": SYSTEMS["snomed"],
    "SNOMEDCT": SYSTEMS["snomed"],
    "SCT": SYSTEMS["snomed"],
    "UCUM": SYSTEMS["ucum"],
    "CVX": SYSTEMS["cvx"],
}
"""What is meant by the names that laboratories put in the place of a system."""


def absolute(value: str) -> bool:
    """Return whether a URI says its scheme and so means the same everywhere."""
    return bool(_ABSOLUTE.match(value))


_absolute_system = lru_cache(maxsize=1024)(absolute)
"""The systems in use are few; urls of resources are not kept, as they may name a patient."""


@rule("absolute-uri", "Coding", "Quantity", at="system")
def system_is_absolute(node: Node) -> str | None:
    """A code whose system has no scheme, such as ``LOINC``, means nothing to the receiver."""
    system = string(node, "system")
    if system and not _absolute_system(system):
        meant = _MEANT.get(system.upper().replace("-", "").replace(" ", ""), "")
        return f"This system is no absolute URI; write {meant or 'it with its scheme, such as http://loinc.org'}."
    return None


@rule("absolute-uri", "Identifier", at="system", severity="warning")
def namespace_is_absolute(node: Node) -> str | None:
    """A namespace of identifiers without a scheme is known to the sender only, who can still compare them."""
    return system_is_absolute(node)


@rule("system", "Coding", at="system")
def system_is_no_value_set(node: Node) -> str | None:
    """A code comes from a code system; a value set only picks codes."""
    system = node.get("system")
    if isinstance(system, str) and "/ValueSet/" in system and _VALUE_SET.match(system):
        return "This is the address of a value set; the system of a code is its code system."
    return None


@rule("check-digit", "Coding", at="code", severity="warning")
def check_digit(node: Node) -> str | None:
    """A LOINC or SNOMED CT code whose check digit is wrong was mistyped; expressions and answers are passed over."""
    code = string(node, "code")
    if not _digit_fits(string(node, "system"), code):
        return "The check digit of this code is wrong, so the system has no such code; look it up again."
    return None


@lru_cache(maxsize=4096)
def _digit_fits(system: str, code: str) -> bool:
    return not _DIGITS.fullmatch(code) or check_digit_ok(system, code)


@rule("binding", "Attachment", "Binary", at="contentType")
def media_type(node: Node) -> str | None:
    """A media type has two parts."""
    given = string(node, "contentType")
    if given and not _MEDIA_TYPE.fullmatch(given):
        return "This should be a media type such as text/html or application/pdf."
    return None


@rule("binding", "Money", at="currency")
def currency(node: Node) -> str | None:
    """A currency is a code of three letters."""
    given = string(node, "currency")
    return "This should be a currency code of three capital letters." if given and not _CURRENCY.match(given) else None
