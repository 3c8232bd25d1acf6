"""The second reader where durable-rules cannot run: each condition as functions inside functions, made once.

A condition is one of three numbers, FAILS < OPEN < HOLDS, and strong Kleene logic is arithmetic on them: the least of
all parts, the greatest of any, the mirror of one. No text is generated, and neither the two bits of the first reader
nor its order of tests come back here. What the two share is the question: rules in normal form. (`rete` starts from the
rules as authored.) It carries a name of its own because it is not the definition: tests hold it to that.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State, Status
from layette.engine.logic.program import NO, YES, CompiledRule, Program, Reading

FAILS, OPEN, HOLDS = 0, 1, 2
Answer = Callable[[Sequence[State]], int]
"""From states to FAILS, OPEN or HOLDS."""

_STATUSES = (
    (Status.RULED_OUT, Status.RULED_OUT, Status.RULED_OUT),
    (Status.UNDECIDED, Status.UNDECIDED, Status.RULED_OUT),
    (Status.FIRED, Status.PROVISIONAL, Status.RULED_OUT),
)
"""The status of a rule, by the answer of its own condition and that of what replaces it."""


class ClosureReader:
    """A program as functions; immutable, so threads may share it."""

    name = "closures"

    def __init__(self, program: Program) -> None:
        """Make the functions for ``program``."""
        self.program = program
        self._rules = [_rule(rule) for rule in program.rules]

    def read(self, states: Sequence[State]) -> Reading:
        """Return the status of each rule; see `Reader`."""
        now, found = list(states), []
        for var in self.program.conclusions:
            now[var] = NO
        for own, replaced, concludes in self._rules:
            answer = own(now)
            found.append(_STATUSES[answer][replaced(now) if replaced else FAILS])
            for var in concludes if answer != FAILS else ():
                now[var] = YES if answer == HOLDS else now[var] | YES
        return Reading(tuple(found), tuple(now))


def _rule(rule: CompiledRule) -> tuple[Answer, Answer | None, tuple[int, ...]]:
    """Return a rule's own condition, what replaces it, and the conclusions that it draws."""
    replaced = _any(rule.replacements) if rule.replacements else None
    return _all((rule.applies, rule.when)), replaced, rule.concludes


def answer_of(node: Node) -> Answer:
    """Return the function that answers ``node``."""
    match node:
        case Among():
            return _all((node,))
        case AllOf(parts):
            return _all(parts)
        case AnyOf(parts):
            return _any(parts)
        case Not(part):
            return _mirror(answer_of(part))


def _all(parts: Sequence[Node]) -> Answer:
    tests, others = _split(parts)

    def least(states: Sequence[State]) -> int:
        answer = HOLDS
        for var, inside, outside in tests:
            if not states[var] & inside:
                return FAILS
            if states[var] & outside:
                answer = OPEN
        for other in others:
            found = other(states)
            if found < answer:
                if found == FAILS:
                    return FAILS
                answer = OPEN
        return answer

    return least


def _any(parts: Sequence[Node]) -> Answer:
    tests, others = _split(parts)

    def greatest(states: Sequence[State]) -> int:
        answer = FAILS
        for var, inside, outside in tests:
            if states[var] & inside:
                if not states[var] & outside:
                    return HOLDS
                answer = OPEN
        for other in others:
            found = other(states)
            if found > answer:
                if found == HOLDS:
                    return HOLDS
                answer = OPEN
        return answer

    return greatest


def _mirror(part: Answer) -> Answer:
    return lambda states: HOLDS - part(states)


def _split(parts: Sequence[Node]) -> tuple[tuple[tuple[int, State, State], ...], tuple[Answer, ...]]:
    """Part the tests, which a loop answers without a call, from the conditions that hold others."""
    tests = tuple((part.var, part.mask, ~part.mask) for part in parts if isinstance(part, Among))
    return tests, tuple(answer_of(part) for part in parts if not isinstance(part, Among))
