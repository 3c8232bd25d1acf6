"""What each rule leads to, laid out once: verb, target, rank and the windows in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .assessment import PRIORITIES, Kind, Priority
from .compile import Instance
from .model import Consequence, WindowShape
from .references import windows_of
from .rule_checks import VERBS
from .windows import Stated, stated


@dataclass(frozen=True, slots=True)
class Proposal:
    """One consequence of a rule that asks somebody for something; ``windows`` as written, each with its words."""

    verb: Kind
    target: str
    priority: Priority
    rank: int
    windows: tuple[Stated, ...]
    consequence: Consequence


def proposals(instances: Sequence[Instance]) -> tuple[tuple[Proposal, ...], ...]:
    """Return the proposals of every rule of a program, by rule number."""
    return tuple(tuple(_proposals(instance)) for instance in instances)


def _proposals(instance: Instance) -> list[Proposal]:
    shape, found = instance.rule.shape, []
    for consequence in shape.then:
        windows = windows_of(shape.window if shape.due is not None else consequence.window)
        if consequence.within and shape.due is None:
            windows = (WindowShape(after="visit", until=consequence.within),)
        priority = consequence.priority or "routine"
        told = tuple(map(stated, windows))
        for verb in VERBS:
            target = getattr(consequence, verb)
            if target is not None:
                found.append(Proposal(verb, target, priority, PRIORITIES.index(priority), told, consequence))
    return found
