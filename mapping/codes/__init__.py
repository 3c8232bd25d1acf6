"""Codes: systems, verified codes with their wording, check digits, printed units, general answers."""

from layette.mapping.codes.digits import check_digit_ok, loinc_ok, snomed_ok
from layette.mapping.codes.systems import (
    ABSENT_REASON,
    FAMILYS_WORDS,
    INTERPRETATION,
    OWN,
    OWN_BASE,
    SYSTEMS,
    own,
    short_name,
    uri,
)
from layette.mapping.codes.verified import (
    FindingWords,
    VerifiedCode,
    answer_words,
    body_parts,
    common_words,
    display,
    finding_words,
    is_verified,
    printed_units,
    verified,
)

__all__ = [
    "ABSENT_REASON",
    "FAMILYS_WORDS",
    "INTERPRETATION",
    "OWN",
    "OWN_BASE",
    "SYSTEMS",
    "FindingWords",
    "VerifiedCode",
    "answer_words",
    "body_parts",
    "check_digit_ok",
    "common_words",
    "display",
    "finding_words",
    "is_verified",
    "loinc_ok",
    "own",
    "printed_units",
    "short_name",
    "snomed_ok",
    "uri",
    "verified",
]
