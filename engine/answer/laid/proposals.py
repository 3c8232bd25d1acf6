"""What each rule leads to, laid out once: verb, target, rank and the windows in words; what it asks the record for."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from layette.engine.answer.laid.windows import WrittenWindow, stated
from layette.engine.exact.times import AgeBounds, age_bounds
from layette.engine.pack.written.rule_shapes import Consequence, WindowShape, windows_of
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.pack.written.written import Instance
from layette.engine.terms import Kind, Priority
from layette.engine.visit.recordings import Where

Place = tuple[Kind, str, str]
"""Verb, target and side: what shares a recommendation."""


@dataclass(frozen=True, slots=True)
class Proposal:
    """One consequence of a rule that asks somebody for something; ``windows`` as written, each with its words.

    ``sources`` are those of the rule and of this consequence, each once.
    Proposals with one ``timing`` have the same windows, priority and side, and so the same real window at any visit.
    """

    verb: Kind
    target: str
    priority: Priority
    rank: int
    windows: tuple[WrittenWindow, ...]
    consequence: Consequence
    side: str = ""
    timing: int = 0
    sources: tuple[str, ...] = ()
    place: Place = field(init=False)

    def __post_init__(self) -> None:
        """Keep the place, so that no visit has to make it."""
        object.__setattr__(self, "place", (self.verb, self.target, self.side))


def proposals(instances: Sequence[Instance], unsided: Container[str] = ()) -> tuple[tuple[Proposal, ...], ...]:
    """Return the proposals of every rule of a program, by rule number; those for ``unsided`` targets have no side."""
    timings: dict[tuple[tuple[WrittenWindow, ...], Priority, str], int] = {}
    return tuple(tuple(_proposals(instance, timings, unsided)) for instance in instances)


def _proposals(
    instance: Instance,
    timings: dict[tuple[tuple[WrittenWindow, ...], Priority, str], int],
    unsided: Container[str],
) -> Iterator[Proposal]:
    shape = instance.rule.shape
    for number, consequence in enumerate(shape.then):
        side = "" if consequence.target in unsided else instance.side
        windows = windows_of(shape.window if shape.due is not None else consequence.window)
        if consequence.within and shape.due is None:
            windows = (WindowShape(after="visit", until=consequence.within),)
        priority = consequence.priority or "routine"
        told = tuple(map(stated, windows))
        timing = timings.setdefault((told, priority, side), len(timings))
        verb = instance.rule.verb_of(number)
        if verb is not None:
            sources = tuple(dict.fromkeys([*listed(shape.source), *listed(consequence.source)]))
            yield Proposal(
                verb, consequence.target, priority, consequence.rank, told, consequence, side, timing, sources
            )


class DueFinding(NamedTuple):
    """A finding that is due: its sides as places, whether it is read in parts, whether an older value counts."""

    name: str
    places: tuple[Where, ...]
    in_parts: bool
    carries_over: bool


@dataclass(frozen=True, slots=True)
class DueRule:
    """A rule that asks whether one of some findings is on record, laid out once a pack.

    A recording counts at an age within ``bounds``.
    """

    index: int
    proposal: Proposal
    findings: tuple[DueFinding, ...]
    bounds: AgeBounds
    of_doses: bool


def due_rules(
    instances: Sequence[Instance], proposals: Sequence[Sequence[Proposal]], findings: Mapping[str, FindingShape]
) -> tuple[DueRule, ...]:
    """Return the rules of a program that ask whether something is on record."""
    found = []
    for index, instance in enumerate(instances):
        shape = instance.rule.shape
        if shape.due is not None:
            due = tuple(_due_finding(name, findings[name]) for name in listed(shape.due))
            bounds = age_bounds((shape.where or {}).get("age", {}))
            of_doses = all(findings[one.name].dose is not None for one in due)
            found.append(DueRule(index, proposals[index][0], due, bounds, of_doses))
    return tuple(found)


def _due_finding(name: str, shape: FindingShape) -> DueFinding:
    places = tuple((name, side) for side in shape.sides or ("",))
    return DueFinding(name, places, shape.readings is not None, shape.carries_over)
