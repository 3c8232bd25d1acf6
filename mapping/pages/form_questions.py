"""What a family is asked before the visit: which questions of the pack, in which order, with which answers.

A question is the family's own where the pack asks the family for it (`ask: family`), or where it comes up by such
answers alone. What the examiner looks at is not asked here, even where it has words for the family: an answer from home
would stand for the look. What is asked alone is on a form of its own.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import NamedTuple

from layette.engine.api import Pack
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.shape import AskAfter
from layette.engine.pack.written.shapes import FindingShape, NumberShape, listed
from layette.mapping.pages.exam.labels import Labels
from layette.mapping.pages.exam.model import scaled
from layette.mapping.pages.family_words import FamilyWords

ASKED, ANSWERED = "asked", "answered"
"""Values of a finding whose answer is the family's own words: open, and closed by whoever answers it."""

_NAMES: Mapping[str, tuple[str, ...]] = {
    "feeding": (
        "feeding_ability", "feeding_type", "feeds_per_day", "minutes_per_feed", "breast_pain", "supplementation",
        "formula_volume", "formula_per_feed", "formula_mixing", "formula_supply", "other_drinks", "vitamin_d",
    ),
    "diapers": ("wet_diapers", "stools", "stool_colour", "urate_stain"),
    "relatives": ("sibling_phototherapy", "family_hemolysis", "breech_third_trimester"),
    "means": ("food_worry", "food_ran_out", "housing", "home_power", "home_water", "transport"),
    "yours": ("family_worry", "family_questions"),
}  # fmt: skip
_AREAS: Mapping[str, tuple[str, ...]] = {
    "feeding": ("feeding",),
    "baby": ("general", "vital-signs", "jaundice", "neuro"),
    "around": ("exposures", "exposed-baby"),
    "home": ("home",),
    "parents": ("family",),
}
SECTIONS = ("feeding", "diapers", "baby", "around", "home", "relatives", "means", "parents", "yours")
"""The parts of the form in their order; a question of any other area stands with what runs in the family."""
MAY_SKIP = frozenset({"home", "means", "parents", "alone"})
"""Parts in which "I would rather not say" is an answer of its own."""

_BORN, _SEEN = "2026-01-01T08:00:00Z", "2026-01-05T08:00:00Z"
"""Any baby of four days: the age of a first visit, at which an answer is looked at by itself."""


class Choice(NamedTuple):
    """One answer to touch; ``call``: by itself it asks for help at once."""

    value: str
    word: str
    call: bool


class Unit(NamedTuple):
    """A unit in which a number can be given; ``most`` is the highest that is possible in it."""

    unit: str
    word: str
    most: int


class Asked(NamedTuple):
    """One question. ``after`` is the condition under which it comes up, as JSON; ``own_words``: a free answer."""

    name: str
    text: str
    choices: tuple[Choice, ...]
    number: tuple[Unit, ...]
    after: str
    own_words: bool


def asked_of_family(pack: Pack, *, apart: bool) -> list[str]:
    """Return the findings that a form asks for, in the order of the pack; ``apart``: those that are asked alone."""
    own = {name for name, shape in pack.findings.items() if shape.ask == "family" and shape.question}
    more = {name for name, shape in pack.findings.items() if _follows(shape, own)}
    return [name for name, shape in pack.findings.items() if name in own | more and shape.private == apart]


def _follows(shape: FindingShape, own: set[str]) -> bool:
    after = shape.ask.after if isinstance(shape.ask, AskAfter) else {}
    return bool(after and shape.question and shape.reported) and set(keys_in(after)) <= own


def sections(pack: Pack) -> Iterator[tuple[str, list[str]]]:
    """Yield each part of the form that everybody gets, with its findings."""
    area = {name: one.area for one in pack.areas for name in one.findings}
    place = {name: part for part, names in _NAMES.items() for name in names}
    by_area = {one: part for part, areas in _AREAS.items() for one in areas}
    names = asked_of_family(pack, apart=False)
    for part in SECTIONS:
        mine = [name for name in names if place.get(name, by_area.get(area[name], "relatives")) == part]
        first = _NAMES.get(part, ())
        if mine:
            yield part, sorted(mine, key=lambda name: first.index(name) if name in first else len(first))


def question(pack: Pack, name: str, words: FamilyWords) -> Asked:
    """Return one question in the language of ``words``."""
    shape = pack.findings[name]
    assert shape.question is not None
    text = shape.question.spanish if words.language == "es" else shape.question.en
    after = json.dumps(shape.ask.after) if isinstance(shape.ask, AskAfter) else ""
    values = [value for value in shape.values or () if not (value == ANSWERED and ASKED in (shape.values or ()))]
    choices = tuple(
        Choice(value, _word(pack, name, value, words), (name, value) in calls_for_help(pack)) for value in values
    )
    number = tuple(_units(shape.number, words)) if shape.number else ()
    return Asked(name, text, choices, number, after, own_words=ASKED in values)


def _word(pack: Pack, name: str, value: str, words: FamilyWords) -> str:
    """Return the words of an answer: yes and no, where the finding is one or the other."""
    shape, plain = pack.findings[name], words["form"]["answers"]
    free = words["form"]["own"] if ASKED in (shape.values or ()) else {}
    own = words["form"]["said"].get(name, free).get(value)
    if own is None and set(shape.values or ()) <= set(plain):
        own = plain[value]
    labels = Labels(pack).value(name, value)
    return str(own or labels.get(words.language) or labels["en"])


def _units(number: NumberShape, words: FamilyWords) -> Iterator[Unit]:
    named = words["form"]["units"]
    for unit in (number.unit, *(one for one in number.accepts if one != number.unit)):
        factor, offset = scaled(unit, number.unit)
        yield Unit(unit, named.get(unit, unit), int((number.plausible[1] - offset) / factor))


@lru_cache(maxsize=8)
def calls_for_help(pack: Pack) -> frozenset[tuple[str, str]]:
    """Return the answers that by themselves bring something that cannot wait (`stat`), as finding and value.

    Answers are first looked at together, one of each finding a time: only what stands behind a `stat` there can bring
    one by itself.
    """
    names = (*asked_of_family(pack, apart=False), *asked_of_family(pack, apart=True))
    unusual = {name: _unusual(pack.findings[name]) for name in names}
    found = set()
    for k in range(max(map(len, unusual.values()), default=0)):
        together = {name: values[k] for name, values in unusual.items() if k < len(values)}
        behind = _behind_stat(pack, together)
        found |= {(name, together[name]) for name in behind if name in _behind_stat(pack, {name: together[name]})}
    return frozenset(found)


def _unusual(shape: FindingShape) -> list[str]:
    usual = {*listed(shape.expected), *((ANSWERED,) if ASKED in (shape.values or ()) else ())}
    return [value for value in shape.values or () if value not in usual]


def _behind_stat(pack: Pack, told: Mapping[str, str]) -> set[str]:
    """Return the findings among ``told`` that stand behind a recommendation that cannot wait."""
    findings = {name: {"value": value, "reported": True} for name, value in told.items()}
    made = pack.assess({"born": _BORN, "at": _SEEN, "findings": findings}, readers=["native"])
    pressing = [one for one in made.recommendations if one.priority == "stat"]
    read = {used.subject.partition(".")[0] for one in pressing for reason in one.reasons for used in reason.values}
    return read & told.keys() if len(told) > 1 or not pressing else set(told)
