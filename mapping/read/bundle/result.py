"""What reading a FHIR input gives: the flat visit, the problems, and an account of every entry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any

from layette.engine.errors import InputError, InputProblem

NOTES = "Notes that are not read"
"""How the notice of them begins; a short page leaves them to the full one, where values stand beside them."""


class Outcome(IntEnum):
    """What became of an entry. An entry with several outcomes is counted once, under the highest."""

    NOT_USED = 1
    NOT_UNDERSTOOD = 2
    USED = 3
    REFUSED = 4


@dataclass(frozen=True, slots=True)
class NotUsed:
    """An entry from which nothing was taken, and why."""

    path: str
    kind: str
    why: str


def around(path: str) -> Iterator[str]:
    """Yield a path of the input, and every place that it lies in."""
    yield path
    yield from (path[:place] for place, mark in enumerate(path) if mark in ".[-")


@dataclass(frozen=True, slots=True)
class Counts:
    """How many entries were read and what became of them; the four outcomes always add up to ``entries``.

    ``contained`` resources live inside an entry and are counted apart.
    """

    entries: int
    used: int
    not_understood: int
    not_used: int
    refused: int
    contained: int = 0

    @classmethod
    def of(cls, outcomes: Iterable[Outcome], contained: int = 0) -> Counts:
        """Return the counts of the outcomes of all entries."""
        by = Counter(outcomes)
        kept, unused, refused = by[Outcome.NOT_UNDERSTOOD], by[Outcome.NOT_USED], by[Outcome.REFUSED]
        return cls(sum(by.values()), by[Outcome.USED], kept, unused, refused, contained)

    def __str__(self) -> str:
        """Return one line for people."""
        return (
            f"{self.entries} entries read: {self.used} used, {self.not_understood} kept but not understood, "
            f"{self.not_used} not used, {self.refused} refused"
        )


@dataclass(frozen=True, slots=True)
class ReadResult:
    """The outcome of `read`.

    ``visit`` is the flat visit (`schemas/visit.md`), numbers as text in the digits given; where there are
    ``problems`` it holds the usable rest and carries them, so that it is not assessed. ``until`` is the last moment
    that still belongs to the visit (the end of the Encounter, or ``at``). ``notices`` are sentences about what was read
    otherwise than it was printed.
    ``outcomes`` are all entries by their path.
    """

    visit: dict[str, Any]
    problems: tuple[InputProblem, ...]
    counts: Counts
    not_used: tuple[NotUsed, ...] = ()
    notices: tuple[str, ...] = ()
    until: str | None = None
    baby: Mapping[str, Any] | None = field(default=None, repr=False)
    outcomes: tuple[tuple[str, Outcome], ...] = field(default=(), repr=False)

    def counts_with(self, problems: Iterable[InputProblem]) -> Counts:
        """Return the counts where others found these problems too: an entry in which one stands is refused."""
        places = {place for problem in problems for place in around(problem.path)}
        outcomes = [
            Outcome.REFUSED if place.removesuffix(".resource") in places else outcome
            for place, outcome in self.outcomes
        ]
        return Counts.of(outcomes, self.counts.contained)

    @property
    def not_understood(self) -> list[dict[str, Any]]:
        """What was kept but not understood: path, code, text, why, and what it would have told."""
        kept: list[dict[str, Any]] = self.visit.get("not_understood", [])
        return kept

    @property
    def references(self) -> dict[str, str]:
        """The resource from which each reading was taken: path of the reading -> reference."""
        return {r["path"]: r["origin"] for r in self.readings() if "origin" in r}

    def readings(self) -> Iterator[dict[str, Any]]:
        """Yield every reading of this visit and then of the history."""
        for findings in (self.visit.get("findings", {}), self.visit.get("history", {}).get("findings", {})):
            for readings in findings.values():
                yield from readings

    def require(self) -> ReadResult:
        """Return this result; raises `InputError` with all problems if there are any."""
        if self.problems:
            raise InputError(self.problems)
        return self
