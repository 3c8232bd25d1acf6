"""A pack's rules, compiled: what a reader of the rules is given.

A `Program` knows variables by number and rules by number. It holds no label, no target and no
priority: those belong to the assessment. Rules stand in dependency order (a rule that tests a
conclusion stands after every rule that concludes it).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from layette.engine.logic.conditions import Node, State, Status


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
    them as unknown and fills them in. ``full`` holds, for each variable, the state in which nothing is known.
    """

    variables: tuple[Variable, ...]
    rules: tuple[CompiledRule, ...]
    conclusions: tuple[int, ...] = ()
    full: tuple[State, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Lay ``full`` out once: whatever goes over all rules asks for it."""
        object.__setattr__(self, "full", tuple([variable.full for variable in self.variables]))

    @property
    def unknown(self) -> list[State]:
        """The states of a visit of which nothing is known, as a list of the caller's own."""
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
