"""The short path: from a visit to the status of every rule. What people read of it is made by `engine.assess`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from layette.engine.logic.agree import ACTED_ON, read_twice
from layette.engine.logic.conditions import Status, evaluate
from layette.engine.states.facts import Facts
from layette.engine.visit.visit import Visit

if TYPE_CHECKING:
    from layette.engine.api import Pack


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


def decide(pack: Pack, visit: Visit, readers: Iterable[str] | None = None) -> Decision:
    """Read every rule on ``visit``; raises `ReadersDisagree` where two readers differ."""
    facts = Facts(pack, visit, settings_for(pack, visit))
    chosen = pack.readers(readers)
    reading = read_twice(chosen, pack.program, facts.states, pack.rule_priorities)
    facts.states = list(reading.states)
    standing = _standing(reading.statuses) if reading.standing is None else reading.standing
    return Decision(facts, reading.statuses, tuple([reader.name for reader in chosen]), standing)


def _standing(statuses: tuple[Status, ...]) -> tuple[int, ...]:
    return tuple(k for k, status in enumerate(statuses) if status in ACTED_ON)


def settings_for(pack: Pack, visit: Visit) -> Mapping[str, str]:
    """Return the choices in force: the pack's defaults, the site's, the visit's own."""
    return {**pack.choices, **visit.settings}
