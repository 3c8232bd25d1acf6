"""A pack's rules, compiled: what a reader of the rules is given.

A `Program` knows variables by number and rules by number. It holds no label, no target and no
priority: those belong to the assessment. Rules stand in dependency order (a rule that tests a
conclusion stands after every rule that concludes it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from layette.engine.logic.conditions import FALSE, Node, State, Status, Truth, evaluate, status


@dataclass(frozen=True, slots=True)
class Variable:
    """One view of one finding, measure, conclusion or setting.

    ``atoms`` names its atoms in bit order. For an ordered (numeric) variable they are the cells
    between the pack's cut points, so a state that is known as an interval is a run of bits; bit 0
    of every finding is "does not apply".
    """

    key: str
    atoms: tuple[str, ...]
    ordered: bool

    @property
    def full(self) -> State:
        """The state in which nothing is known."""
        return (1 << len(self.atoms)) - 1


@dataclass(frozen=True, slots=True)
class CompiledRule:
    """One rule: who it is for, when it fires, what replaces it, what it concludes.

    ``applies`` and ``when`` are in normal form; ``authored`` is `applies and when` as written (sides
    and settings expanded, nothing merged), for a reader that wants its own way of reading.
    ``replacements`` are the conditions (normal form) of what replaces this rule, each without the
    conjuncts that it shares with it; ``authored_replacements`` the same as written.
    ``concludes`` are the conclusion variables that this rule makes true.
    """

    id: str
    group: str
    applies: Node
    when: Node
    authored: Node
    replacements: tuple[Node, ...] = ()
    authored_replacements: tuple[Node, ...] = ()
    concludes: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Program:
    """All rules of a pack in dependency order, over numbered variables.

    ``conclusions`` are the variables that rules conclude (atoms: ``no``, ``yes``); a reader is given
    them as unknown and fills them in.
    """

    variables: tuple[Variable, ...]
    rules: tuple[CompiledRule, ...]
    conclusions: tuple[int, ...] = ()
    full: tuple[State, ...] = field(init=False, repr=False, compare=False)
    """For each variable, all its atoms."""

    def __post_init__(self) -> None:
        """Lay out once what every rule is read against."""
        object.__setattr__(self, "full", tuple([variable.full for variable in self.variables]))

    @property
    def unknown(self) -> list[State]:
        """The states of a visit of which nothing is known, to be filled in."""
        return list(self.full)


NO, YES = 0b01, 0b10
"""The two atoms of a conclusion or a flag."""


class Reader(Protocol):
    """Something that reads a program over one visit's states."""

    name: str

    def read(self, states: Sequence[State]) -> Reading:
        """Return the status of each rule and the filled-in states. Raises nothing for valid states."""
        ...


@dataclass(frozen=True, slots=True)
class Reading:
    """What a reader found: ``statuses[k]`` belongs to ``program.rules[k]``; ``states`` has conclusions filled in.

    ``standing`` are the numbers of the rules that fired or are provisional, where the reader has them at hand.
    """

    statuses: tuple[Status, ...]
    states: tuple[State, ...]
    standing: tuple[int, ...] | None = field(default=None, compare=False)


class ReferenceReader:
    """The specification as a reader: every rule by `conditions.evaluate`, in dependency order."""

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
