"""The codes that were read in a source (`verified.csv`), and the small tables of units and answers beside it."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from functools import cache
from importlib.resources import files
from typing import NamedTuple

from layette.mapping.codes.systems import uri


class FindingWords(NamedTuple):
    """Words of charts that name a finding. ``sign``: "no" denies it; else it is what is measured or looked at.

    ``member`` is the finding on which a part of such a panel may tell, empty where they name no panel.
    """

    words: str
    finding: str
    sign: bool
    member: str


class VerifiedCode(NamedTuple):
    """One verified code: ``concept`` is what this project uses it for, ``verified_in`` where it was read."""

    system: str
    code: str
    display: str
    concept: str
    verified_in: str


@cache
def verified() -> Mapping[tuple[str, str], VerifiedCode]:
    """Return all verified codes by (system URI, code)."""
    return {(row["system"], row["code"]): VerifiedCode(**row) for row in table("verified.csv")}


def is_verified(system: str, code: str) -> bool:
    """Whether a code may go out. Short names and URIs are taken."""
    return (uri(system), code) in verified()


def display(system: str, code: str) -> str | None:
    """Return the published wording of a verified code, else None."""
    found = verified().get((uri(system), code))
    return found.display if found else None


@cache
def printed_units() -> Mapping[str, str]:
    """Return UCUM codes by units as people print them (lower case), from `units.csv`."""
    return {row["printed"]: row["ucum"] for row in table("units.csv")}


@cache
def answer_words() -> Mapping[tuple[str, str], str]:
    """Return what a general answer code says (``present``, ``normal`` …) by (system URI, code), from `answers.csv`."""
    return {(uri(row["system"]), row["code"]): row["word"] for row in table("answers.csv")}


@cache
def common_words() -> Mapping[str, str]:
    """Return the value that a printed word commonly means where a finding has it, from `answer_texts.csv`."""
    return {row["text"]: row["value"] for row in table("answer_texts.csv")}


@cache
def finding_words() -> tuple[FindingWords, ...]:
    """Return the words of charts that name findings, from `finding_words.csv`."""
    rows = table("finding_words.csv")
    return tuple(FindingWords(row["words"], row["finding"], row["is"] == "sign", row["member"]) for row in rows)


@cache
def body_parts() -> Mapping[str, str]:
    """Return the part of the body that each finding with sides looks at, from `body_parts.csv`."""
    return {row["finding"]: row["part"] for row in table("body_parts.csv")}


def table(name: str) -> Iterator[dict[str, str]]:
    """Yield the rows of a CSV file of this folder; lines that begin with ``#`` are its source and remarks."""
    text = files(__package__).joinpath(name).read_text(encoding="utf-8")
    yield from csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
