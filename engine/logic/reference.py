"""The specification as a reader: what a whole program means, for every other reader to be held to."""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.logic.conditions import FALSE, State, Truth, evaluate, status
from layette.engine.logic.program import NO, YES, Program, Reading


class ReferenceReader:
    """Every rule by `conditions.evaluate`, in dependency order."""

    name = "reference"

    def __init__(self, program: Program) -> None:
        """Read ``program``."""
        self.program = program

    def read(self, states: Sequence[State]) -> Reading:
        """Return the status of each rule; see `Reader`."""
        now = list(states)
        open_conclusions = dict.fromkeys(self.program.conclusions, FALSE)
        for var in self.program.conclusions:
            now[var] = NO
        found = []
        for rule in self.program.rules:
            own = both(evaluate(rule.applies, now), evaluate(rule.when, now))
            replaced = either([evaluate(node, now) for node in rule.replacements])
            found.append(status(own, replaced))
            for var in rule.concludes:
                open_conclusions[var] = either([open_conclusions[var], own])
                now[var] = conclusion_state(open_conclusions[var])
        return Reading(tuple(found), tuple(now))


def both(first: Truth, second: Truth) -> Truth:
    """Kleene and."""
    return Truth(must=first.must and second.must, may=first.may and second.may)


def either(answers: Sequence[Truth]) -> Truth:
    """Kleene or, of any number; of none, false."""
    return Truth(must=any(a.must for a in answers), may=any(a.may for a in answers))


def conclusion_state(answer: Truth) -> State:
    """The state of a conclusion: true when a rule that concludes it fires, false when all are ruled out."""
    return YES if answer.must else (YES | NO if answer.may else NO)
