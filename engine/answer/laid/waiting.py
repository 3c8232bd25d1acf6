"""What an open rule waits for."""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import NamedTuple

from layette.engine.visit.recordings import Where


class WantedInput(NamedTuple):
    """What an open rule still waits for: ``kind`` is finding, history, sex, time or supplied."""

    finding: str
    side: str
    kind: str


class Waiting(NamedTuple):
    """What an open rule waits for: the findings and sides that somebody may look at, each with whether one value of it
    alone settles the rule; what only another visit could tell; the measures that lack what a site supplies.
    """

    places: tuple[tuple[Where, bool], ...]
    history: tuple[Where, ...]
    supplied: tuple[str, ...]


def waiting(asked: Iterable[WantedInput], alone: Container[Where]) -> Waiting:
    """Sort what a rule waits for; ``alone`` are the findings and sides of which one value settles it."""
    looks: dict[Where, bool] = {}
    history: dict[Where, None] = {}
    supplied = []
    for finding, side, kind in asked:
        place = (finding, side)
        if kind in ("finding", "sex"):
            looks[place] = place in alone
        elif kind == "history":
            history[place] = None
        elif kind == "supplied":
            supplied.append(finding)
    return Waiting(tuple(looks.items()), tuple(history), tuple(supplied))
