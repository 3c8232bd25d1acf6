"""The short path: from a visit to the status of every rule. What people read of it is made in `engine.answer`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layette.engine.logic.agree import ACTED_ON, read_twice
from layette.engine.logic.conditions import Status, evaluate
from layette.engine.logic.program import Reader
from layette.engine.states.facts import Facts
from layette.engine.states.plan import StatesPlan
from layette.engine.terms import Priority
from layette.engine.visit.visit import Visit


@dataclass(frozen=True)
class Decision:
    """The facts of one visit, with conclusions filled in, and the status of each rule of the program."""

    facts: Facts
    statuses: tuple[Status, ...]
    readers: tuple[str, ...]
    standing: tuple[int, ...]
    """The numbers of the rules that fired or are provisional."""

    def not_applicable(self, index: int) -> bool:
        """Whether a rule is ruled out because it is not for this newborn."""
        return not evaluate(self.facts.pack.program.rules[index].applies, self.facts.states).may


def decide(
    plan: StatesPlan, visit: Visit, readers: Sequence[Reader], priorities: Sequence[Priority | None]
) -> Decision:
    """Read every rule on ``visit``.

    Args:
        plan: the pack, laid out.
        visit: a checked visit.
        readers: one or more readers of the pack's program.
        priorities: for each rule, the highest priority that it brings; a disagreement tells the highest of any reader.

    Raises:
        ReadersDisagree: two readers differ.
    """
    facts = Facts(plan, visit, {**plan.choices, **visit.settings})
    reading = read_twice(readers, plan.pack.program, facts.states, priorities)
    facts.states = list(reading.states)
    standing = _standing(reading.statuses) if reading.standing is None else reading.standing
    return Decision(facts, reading.statuses, tuple([reader.name for reader in readers]), standing)


def _standing(statuses: tuple[Status, ...]) -> tuple[int, ...]:
    return tuple(k for k, status in enumerate(statuses) if status in ACTED_ON)
