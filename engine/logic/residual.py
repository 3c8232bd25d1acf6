"""What an open rule still depends on: its condition with the settled parts folded away.

`OpenRules` remembers it for a program: most rules of most visits are open in the same few ways.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import itemgetter

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State, Status, evaluate, variables
from layette.engine.logic.normal_form import normal_form
from layette.engine.logic.program import Program

REMEMBERED = 50_000
"""Answers that are kept for one program."""


def residual(node: Node, states: Sequence[State]) -> Node:
    """Return a condition in normal form with its settled parts folded away.

    A settled condition folds to ``AllOf(())`` (holds) or ``AnyOf(())`` (does not hold).
    """
    answer = evaluate(node, states)
    if answer.must:
        return AllOf(())
    if not answer.may:
        return AnyOf(())
    if isinstance(node, Among | Not):
        return node
    kept = tuple(r for r in (residual(part, states) for part in node.parts) if not _settled(r))
    return kept[0] if len(kept) == 1 else type(node)(kept)


def _settled(node: Node) -> bool:
    return isinstance(node, AllOf | AnyOf) and not node.parts


def deciders(node: Node, states: Sequence[State]) -> dict[int, tuple[bool, bool]]:
    """For each open variable, whether one value of it alone makes ``node`` hold, and alone rules it out.

    Only variables that still matter are listed. ``node`` is in normal form.
    """
    found: dict[int, tuple[bool, bool]] = {}
    rest = residual(node, states)
    now = list(states)
    for var in dict.fromkeys(variables(rest)):
        answers = []
        for k in range(states[var].bit_length()):
            if states[var] >> k & 1:
                now[var] = 1 << k
                answers.append(evaluate(rest, now))
        now[var] = states[var]
        found[var] = (any(a.must for a in answers), any(not a.may for a in answers))
    return found


@dataclass(frozen=True, slots=True)
class OpenRule:
    """The variables that an open rule waits for, and those of which one value alone settles it."""

    waits_for: tuple[int, ...]
    settled_by: frozenset[int]


def _picker(wanted: tuple[int, ...]) -> Callable[[Sequence[State]], tuple[State, ...]]:
    """Return what picks the states of some variables; this is asked of each open rule of every visit."""
    if len(wanted) > 1:
        return itemgetter(*wanted)
    return lambda states: tuple([states[var] for var in wanted])


class OpenRules:
    """Answers, for every rule of a program, what it waits for under given states; safe to share between threads."""

    def __init__(self, program: Program) -> None:
        """Prepare each rule's open conditions: its own, and those of its replacements."""
        full = program.full
        self._own = [normal_form(AllOf((r.applies, r.when)), full) for r in program.rules]
        self._replacements = [r.replacements for r in program.rules]
        self._own_variables = [tuple(dict.fromkeys(variables(node))) for node in self._own]
        self._other_variables = [
            tuple(dict.fromkeys(v for n in nodes for v in variables(n))) for nodes in self._replacements
        ]
        self._own_known, self._other_known = (
            [_picker(wanted) for wanted in several] for several in (self._own_variables, self._other_variables)
        )
        self._unknown = full
        self._written = [AllOf((r.applies, r.when)) for r in program.rules]
        self._left = lru_cache(maxsize=REMEMBERED)(self._tests_left)
        self._answer = lru_cache(maxsize=REMEMBERED)(self._compute)

    def of(self, index: int, status: Status, states: Sequence[State]) -> OpenRule:
        """Return what a rule waits for: its own condition where undecided, its replacements where provisional."""
        provisional = status is Status.PROVISIONAL
        known = self._other_known[index] if provisional else self._own_known[index]
        return self._answer(index, provisional, known(states))

    def left(self, index: int, states: Sequence[State]) -> tuple[int, ...]:
        """Return the variables that a rule still tests, each once, in its order; none where it cannot fire."""
        return self._left(index, self._own_known[index](states))

    def _tests_left(self, index: int, known: tuple[State, ...]) -> tuple[int, ...]:
        states = self._states(self._own_variables[index], known)
        return tuple(dict.fromkeys(variables(residual(self._written[index], states))))

    def _states(self, wanted: tuple[int, ...], known: tuple[State, ...]) -> list[State]:
        """Return states of which only those ``known`` of ``wanted`` are known."""
        states = list(self._unknown)
        for var, state in zip(wanted, known, strict=True):
            states[var] = state
        return states

    def _compute(self, index: int, provisional: bool, known: tuple[State, ...]) -> OpenRule:
        wanted = self._other_variables[index] if provisional else self._own_variables[index]
        states = self._states(wanted, known)
        nodes: Sequence[Node] = self._replacements[index] if provisional else [self._own[index]]
        waits: dict[int, None] = {}
        settled: set[int] = set()
        for node in nodes:
            waits.update(dict.fromkeys(variables(residual(node, states))))
            settled.update(var for var, (fires, rules_out) in deciders(node, states).items() if fires or rules_out)
        return OpenRule(tuple(waits), frozenset(settled))
