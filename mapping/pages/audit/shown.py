"""Counts as they may be shown: numbers or a dash, and a share only where all that it says may be said."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from layette.mapping.pages.audit.counted import ALL, BY, COLUMNS, Counts
from layette.mapping.pages.audit.hidden import Key, hidden
from layette.mapping.pages.audit.intervals import wilson

NOT_SHOWN = "—"
HEADS = ("due", "not yet", "judged", "in time", "late", "missed", "declined")
"""What stands over the columns of `COLUMNS`."""


class Share(NamedTuple):
    """How many of how many were done in time, and between which shares chance leaves it (95 %)."""

    part: int
    whole: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """The share itself, from 0 to 1."""
        return self.part / self.whole

    def __str__(self) -> str:
        """Say numerator, denominator and interval."""
        ends = f"{100 * self.low:.0f} to {100 * self.high:.0f}"
        return f"{self.part:,} of {self.whole:,} = {100 * self.share:.0f} % ({ends})"


@dataclass(frozen=True)
class Shown:
    """The counts of one rule or priority, of which ``held`` are not shown."""

    of: Counts
    held: frozenset[Key]

    def number(self, *key: str) -> int | None:
        """Return a count; None where it is not shown.

        Of a group too small to say how many were due nothing is shown, not even a 0: that all of its few were missed
        would be said by the zeros beside it.
        """
        few = len(key) == len(ALL) + 1 and (*key[:-1], "due") in self.held
        return None if few or key in self.held else self.of.counts.get(key, 0)

    def text(self, *key: str) -> str:
        """Return a count in digits, or the dash."""
        number = self.number(*key)
        return NOT_SHOWN if number is None else f"{number:,}"

    def share(self, by: str = ALL[0], group: str = ALL[1]) -> Share | None:
        """Return the share done in time of one group; None where it may not be shown, or nothing was to judge."""
        part, whole = self.number(by, group, "done"), self.number(by, group, "judged")
        return None if part is None or not whole else Share(part, whole, *wilson(part, whole))

    def row(self, by: str = ALL[0], group: str = ALL[1]) -> list[str]:
        """Return the counts of one group in the order of `COLUMNS`, then the share."""
        return [*(self.text(by, group, column) for column in COLUMNS), str(self.share(by, group) or NOT_SHOWN)]

    def tables(self) -> Iterator[tuple[str, list[list[str]]]]:
        """Yield for each dimension its head and a row a group."""
        for by, head in BY.items():
            if self.of.groups.get(by):
                yield head, [[group, *self.row(by, group)] for group in self.of.groups[by]]

    def because(self, most: int, least: int) -> list[tuple[str, int]]:
        """Return for which findings the rule waits, at how many visits; where that or its rest is small, not."""
        waits = self.number("undecided")
        told = [(name, n) for name, n in self.of.because if waits is not None and n >= least]
        return [(name, n) for name, n in told if waits is not None and not 0 < waits - n < least][:most]


def shown(counts: Counts, least: int) -> Shown:
    """Return counts with what may not be shown of them; the number of all visits is told elsewhere."""
    return Shown(counts, hidden(counts.counts, counts.sums, least, known=[("visits",)]))
