"""What each rule leads to, laid out once: verb, target, rank and the windows in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from layette.engine.answer.windows import Stated, stated
from layette.engine.pack.written.rule_shapes import Consequence, WindowShape, windows_of
from layette.engine.pack.written.written import Instance
from layette.engine.terms import PRIORITIES, VERBS, Kind, Priority

Place = tuple[Kind, str, str]
"""Verb, target and side: what shares a recommendation."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """One consequence of a rule that asks somebody for something; ``windows`` as written, each with its words.

    Proposals with one ``timing`` have the same windows, priority and side, and so the same real window at any visit.
    """

    verb: Kind
    target: str
    priority: Priority
    rank: int
    windows: tuple[Stated, ...]
    consequence: Consequence
    side: str = ""
    timing: int = 0
    place: Place = field(init=False)

    def __post_init__(self) -> None:
        """Keep the place, so that no visit has to make it."""
        object.__setattr__(self, "place", (self.verb, self.target, self.side))


def proposals(instances: Sequence[Instance]) -> tuple[tuple[Proposal, ...], ...]:
    """Return the proposals of every rule of a program, by rule number."""
    timings: dict[tuple[tuple[Stated, ...], Priority, str], int] = {}
    return tuple(tuple(_proposals(instance, timings)) for instance in instances)


def _proposals(instance: Instance, timings: dict[tuple[tuple[Stated, ...], Priority, str], int]) -> Iterator[Proposal]:
    shape, side = instance.rule.shape, instance.side
    for consequence in shape.then:
        windows = windows_of(shape.window if shape.due is not None else consequence.window)
        if consequence.within and shape.due is None:
            windows = (WindowShape(after="visit", until=consequence.within),)
        priority = consequence.priority or "routine"
        told = tuple(map(stated, windows))
        timing = timings.setdefault((told, priority, side), len(timings))
        for verb in VERBS:
            target = getattr(consequence, verb)
            if target is not None:
                yield Proposal(verb, target, priority, PRIORITIES.index(priority), told, consequence, side, timing)
