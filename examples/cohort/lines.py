"""Visits as the lines of a file, with the faults of a real one, and a row of the truth for each line."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import Any, NamedTuple

from cohort import numbers
from cohort.bundle import bundle
from cohort.newborns import FIRST_BIRTH, newborn
from cohort.visits import Made, Row, fault, healthy, visits_of

compact = json.JSONEncoder(separators=(",", ":")).encode
CLOSING_DAY = numbers.BIRTHS_OVER_DAYS + 100
"""The last visit of all lies so late that whatever was due before it, and was not done, is missed."""


class Asked(NamedTuple):
    """What is to be made: how many newborns, by which seed; ``often`` multiplies how many have a problem or a fault."""

    newborns: int
    seed: int = 1
    often: float = 1.0
    form: str = "flat"


class Line(NamedTuple):
    """A line of the file, and the row of the truth about it."""

    text: str
    truth: Row


def lines(asked: Asked) -> Iterator[Line]:
    """Yield the lines one by one; what was made is not held."""
    write = written(asked.form)
    rng = Random(f"{asked.seed}/lines")
    number = 0
    for made in _visits(asked):
        broken = _broken(made, rng, asked)
        copies = 1 if broken or rng.random() >= fault("duplicate", asked.often) else 2
        first = number + 1
        for _ in range(copies):
            number += 1
            text = _break(made.visit, broken, write) if broken else write(made.visit)
            yield Line(text, _truth(made, number, broken, None if number == first else first))


def written(form: str) -> Callable[[Row], str]:
    """Return what writes a visit as one line: ``flat`` or ``bundle``."""
    shape: Callable[[Row], Any] = bundle if form == "bundle" else dict
    return lambda visit: compact(shape(visit))


def _visits(asked: Asked) -> Iterator[Made]:
    for number in range(asked.newborns):
        yield from visits_of(number, asked.newborns, asked.seed, asked.often)
    last = newborn(asked.newborns, asked.newborns, Random(f"{asked.seed}/last"))
    yield healthy(replace(last, born=FIRST_BIRTH + timedelta(days=CLOSING_DAY)), Random(asked.seed))


def _broken(made: Made, rng: Random, asked: Asked) -> str | None:
    """Return how a line is broken; never one that alone tells of an order, nor the one that closes the record."""
    kinds = ("cut short", "not an object") + (
        ("value nobody knows", "no unit", "no offset") if asked.form == "flat" else ()
    )
    kind = rng.choice(kinds)
    spared = made.visit.get("history", {}).get("orders") or "closing" in made.marks
    return None if spared or rng.random() >= fault("broken", asked.often) else kind


def _break(visit: Row, kind: str, write: Callable[[Row], str]) -> str:
    findings = visit["findings"]
    if kind == "value nobody knows":
        return write(visit | {"findings": {**findings, "colour": "invented"}})
    if kind == "no unit":
        return write(visit | {"findings": {**findings, "weight": {"value": 3300}}})
    if kind == "no offset":
        return write(visit | {"at": visit["at"][:19]})
    return '["invented"]' if kind == "not an object" else write(visit)[:-40]


def _truth(made: Made, line: int, broken: str | None, copy_of: int | None) -> Row:
    visit = made.visit
    return {
        "invented": True, "line": line, "patient": visit["patient"], "encounter": visit["encounter"],
        "clinic": visit["clinic"], "sex": visit.get("sex_at_birth"), "marks": made.marks, "broken": broken,
        "copy_of": copy_of, "loss_pct": made.loss_pct,
        "planted": [] if broken else [one.told() for one in made.planted],
    }  # fmt: skip
