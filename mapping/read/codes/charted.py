"""Words of charts, under codes that are not known: which finding they name, and whether they only deny or clear it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from functools import cache

from layette.mapping.codes import FindingWords, answer_words, finding_words
from layette.mapping.read.bundle.parts import Resource, codings, words
from layette.mapping.read.codes.answers import NO, plain
from layette.mapping.read.codes.spoken import said_words

_ASIDE = frozenset(
    (
        "no", "not", "without", "denies", "family", "history", "risk", "screening", "education", "counseling",
        "exposure", "source", "site", "route", "method", "device", "position", "cuff",
    )
)  # fmt: skip
"""Beside one of these words, the name of a finding says something else than what was found."""

_ROUTINE = frozenset(
    (
        "well", "routine", "check", "checkup", "examination", "exam", "visit", "follow", "screening", "vaccination",
        "immunization", "assessment", "encounter", "consultation", "education", "counseling", "documentation",
        "liveborn",
    )
)  # fmt: skip
"""Beside one of these words a reason, a diagnosis or a procedure says what visits are for, and not what is wrong."""

_WRONG = frozenset(("abnormal", "failed", "positive", "suspected", "critical", "urgent", "emergency"))
_OF_THE_MOTHER = frozenset(("mother", "maternal"))
_SHORT = 4
_DENIED = frozenset((*NO, "denied", "denies", "never", "normal", "nein", "nie", "keine", "nunca", "ninguno", "ninguna"))
_CLEARED = frozenset(("normal", "within_normal_limits", "wnl", "unremarkable", "in_range"))


def charted(texts: Iterable[str]) -> Iterator[FindingWords]:
    """Yield the rows whose words stand in one of the texts, those of most words first.

    Short words, such as "HR", must be all that a text says.
    """
    found: dict[FindingWords, int] = {}
    for said in {tuple(said_words(text)) for text in texts}:
        for row, named in _rows(said):
            found[row] = max(found.get(row, 0), len(named))
    yield from sorted(found, key=lambda row: (-found[row], row.words))


def _rows(said: tuple[str, ...]) -> Iterator[tuple[FindingWords, tuple[str, ...]]]:
    aside = bool(_ASIDE & {*said})
    for row, named in {pair for word in said for pair in _by_word().get(word, ())}:
        short = all(len(word) < _SHORT for word in named)
        if named == said or (not aside and not short and {*named} <= {*said}):
            yield row, named


@cache
def _by_word() -> Mapping[str, tuple[tuple[FindingWords, tuple[str, ...]], ...]]:
    found: dict[str, list[tuple[FindingWords, tuple[str, ...]]]] = {}
    for row in finding_words():
        named = tuple(said_words(row.words))
        found.setdefault(max(named, key=len), []).append((row, named))
    return {word: tuple(rows) for word, rows in found.items()}


def of_the_mother(texts: Iterable[str]) -> bool:
    """Whether words name the mother."""
    return any(_OF_THE_MOTHER & {*said_words(text)} for text in texts)


def is_routine(texts: Iterable[str]) -> bool:
    """Whether words only say what a visit is for."""
    said = {word for text in texts for word in said_words(text)}
    return bool(said & _ROUTINE) and not said & _WRONG


def denied(holder: Resource) -> bool:
    """Whether what is said under the name of a sign is that it is not there, or only why nothing is said."""
    return _says_only(holder, _DENIED)


def cleared(holder: Resource) -> bool:
    """Whether nothing is said but that it is normal, or why nothing is said."""
    return _says_only(holder, _CLEARED)


def _says_only(holder: Resource, answers: Set[str]) -> bool:
    given = [key for key in holder if key.startswith("value")]
    if not given:
        return "dataAbsentReason" in holder and "interpretation" not in holder
    value = holder[given[0]]
    number = value.get("value") if isinstance(value, dict) else value
    if not isinstance(number, str) and number in (False, 0):
        return "no" in answers
    said = [value] if isinstance(value, str) else words(value)
    general = {word for system, code, _ in codings(value) if (word := answer_words().get((system, code)))}
    told = general or {plain(word).replace(" ", "_") for word in said}
    return bool(told) and told <= answers
