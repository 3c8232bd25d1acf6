"""Check digits: a code that was mistyped or misremembered is caught before it is read or sent.

LOINC uses the mod-10 (Luhn) digit after the hyphen; SNOMED CT ends each identifier with a Verhoeff digit.
"""

from __future__ import annotations

import re

from layette.mapping.codes.systems import uri

_LOINC = re.compile(r"(\d{1,7})-(\d)", re.ASCII)
_LOINC_OTHER = re.compile(r"L[APGL]\d+-\d", re.ASCII)
_SNOMED = re.compile(r"[1-9]\d{5,17}", re.ASCII)

_TIMES = (
    (0, 1, 2, 3, 4, 5, 6, 7, 8, 9),
    (1, 2, 3, 4, 0, 6, 7, 8, 9, 5),
    (2, 3, 4, 0, 1, 7, 8, 9, 5, 6),
    (3, 4, 0, 1, 2, 8, 9, 5, 6, 7),
    (4, 0, 1, 2, 3, 9, 5, 6, 7, 8),
    (5, 9, 8, 7, 6, 0, 4, 3, 2, 1),
    (6, 5, 9, 8, 7, 1, 0, 4, 3, 2),
    (7, 6, 5, 9, 8, 2, 1, 0, 4, 3),
    (8, 7, 6, 5, 9, 3, 2, 1, 0, 4),
    (9, 8, 7, 6, 5, 4, 3, 2, 1, 0),
)
_TURN = (1, 5, 7, 6, 2, 8, 3, 0, 9, 4)


def loinc_ok(code: str) -> bool:
    """Whether a LOINC code's mod-10 digit is right; answers and parts (``LA``, ``LP``) carry another one: form only."""
    found = _LOINC.fullmatch(code)
    if found is None:
        return _LOINC_OTHER.fullmatch(code) is not None
    total = 0
    for place, digit in enumerate(map(int, reversed(found[1]))):
        doubled = digit * 2 if place % 2 == 0 else digit
        total += doubled - 9 if doubled > 9 else doubled
    return -total % 10 == int(found[2])


def snomed_ok(code: str) -> bool:
    """Whether a SNOMED CT identifier's Verhoeff digit is right."""
    if _SNOMED.fullmatch(code) is None:
        return False
    check = 0
    for place, digit in enumerate(map(int, reversed(code))):
        for _ in range(place % 8):
            digit = _TURN[digit]
        check = _TIMES[check][digit]
    return check == 0


def check_digit_ok(system: str, code: str) -> bool:
    """Whether the check digit of a code is right; True for systems that have none. Short names and URIs are taken."""
    system = uri(system)
    if system == uri("loinc"):
        return loinc_ok(code)
    return snomed_ok(code) if system == uri("snomed") else True
