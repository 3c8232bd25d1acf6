"""The closed lists that rules, visits and answers share, each once. Where FHIR has a list, it is FHIR's."""

from __future__ import annotations

from typing import Final, Literal, get_args

Priority = Literal["stat", "asap", "urgent", "routine"]
PRIORITIES: Final[tuple[Priority, ...]] = get_args(Priority)
"""FHIR's request priorities, the most pressing first: a priority's place is its rank."""

Kind = Literal["refer", "order", "recheck", "judge", "guide", "reassure", "avoid"]
VERBS: Final[tuple[Kind, ...]] = get_args(Kind)
"""What a rule can lead to, beside a conclusion."""
PROPOSING: Final[tuple[Kind, ...]] = ("refer", "order", "recheck", "avoid")
"""The verbs that ask somebody to do, or not to do, something; guidance and reassurance are apart.

So is `judge`: a person reads a value before anything is asked for.
"""
ASKED: Final[tuple[Kind, ...]] = ("refer", "order", "recheck")
"""The kinds of target that a recommendation is about, and that a value to be judged could bring."""

Bound = Literal["at_least", "more_than", "at_most", "below"]
BOUNDS: Final[tuple[Bound, ...]] = get_args(Bound)
"""How a range of numbers is written; `at_least` and `at_most` hold their own end."""

Deadline = Literal["now", "before they leave", "within 24 hours", "within 48 hours", "within a week", "by a date"]
DEADLINES: Final[tuple[Deadline, ...]] = get_args(Deadline)
"""By when something is to be done, as people say it; the first is the most pressing."""

ANCHORS: Final = ("visit", "next_visit", "birth", "discharge", "term")
"""What a window can be counted from, beside the time of a finding."""

STATUSES: Final = (
    "registered",
    "preliminary",
    "final",
    "amended",
    "corrected",
    "cancelled",
    "entered-in-error",
    "unknown",
)
"""FHIR's ObservationStatus: how settled a recording is."""
WITHDRAWN: Final = ("entered-in-error", "cancelled")
"""The statuses of a recording that was taken back."""

CODE_SYSTEMS: Final = {
    "loinc": "http://loinc.org",
    "snomed": "http://snomed.info/sct",
    "icd10cm": "http://hl7.org/fhir/sid/icd-10-cm",
    "cvx": "http://hl7.org/fhir/sid/cvx",
}
"""The code systems that a pack may use, with their addresses."""

SEEN_TODAY = "what we saw"
"""The heading of guidance that a finding brings, not the age."""
