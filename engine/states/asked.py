"""Which variables rules may still ask for, once the choices of a site or of a visit are known."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from layette.engine.logic.conditions import AllOf, Node, State, Status, variables
from layette.engine.logic.program import CompiledRule, Program
from layette.engine.logic.reference import ReferenceReader


class Asked:
    """What the rules of a program ask for under given settings.

    Only the rules that a setting can turn are read again for each combination of choices: most look at none.
    """

    def __init__(self, program: Program, settings: Iterable[int], always: Iterable[Node]) -> None:
        """Take the variables of settings, and the conditions that are asked whatever the rules say."""
        asks = [frozenset(variables(AllOf((r.applies, r.when, *r.replacements)))) for r in program.rules]
        turned = _turned(program.rules, asks, settings)
        apart = ReferenceReader(program).read(program.unknown)
        concluded = dict.fromkeys(var for number in turned for var in program.rules[number].concludes)
        self._turned = ReferenceReader(
            Program(program.variables, tuple(program.rules[number] for number in turned), tuple(concluded))
        )
        self._asks = [asks[number] for number in turned]
        self._concluded = {var: apart.states[var] for var in program.conclusions if var not in concluded}
        self._always = frozenset(variables(AllOf(tuple(always)))).union(
            *(asks[k] for k, status in enumerate(apart.statuses) if k not in turned and status is not Status.RULED_OUT)
        )

    def under(self, states: Sequence[State]) -> frozenset[int]:
        """Return the variables in the rules that ``states``, in which settings alone are known, do not rule out."""
        given = list(states)
        for var, state in self._concluded.items():
            given[var] = state
        statuses = self._turned.read(given).statuses
        rules = zip(self._asks, statuses, strict=True)
        return self._always.union(*(asks for asks, status in rules if status is not Status.RULED_OUT))


def _turned(rules: Sequence[CompiledRule], asks: Sequence[frozenset[int]], settings: Iterable[int]) -> dict[int, None]:
    """Return the numbers of the rules that look at a setting, or at what such a rule concludes, in their order.

    A rule that concludes the same as one of them is among them: a conclusion is read from all that conclude it.
    """
    moved, turned = set(settings), dict[int, None]()
    while True:
        before = len(moved)
        for number, (rule, asked) in enumerate(zip(rules, asks, strict=True)):
            if moved & asked or moved.intersection(rule.concludes):
                turned[number] = None
                moved.update(rule.concludes)
        if len(moved) == before:
            return dict.fromkeys(sorted(turned))
