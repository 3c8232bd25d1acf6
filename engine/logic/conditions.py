"""What a condition means: the specification that every reader is held to.

A *variable* is one view of one finding, measure, conclusion or setting. What is known of it is its
*state*: the set of values that are still possible, as a bit mask over its *atoms* (`program.Variable`).
Exactly known is one bit, unknown is all bits. A *test* asks whether the value lies in a set of atoms:
it *must* hold if the state lies inside that set, and *may* hold if the two overlap. Tests are joined
by strong Kleene logic, so a condition has two bits and three answers.

`evaluate` is the whole meaning of a condition, `status` that of a rule; `reference` reads a program by
these two alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import NoReturn

State = int
"""Bit mask of the atoms of one variable that are still possible."""


@dataclass(frozen=True, slots=True)
class Among:
    """The value of variable number ``var`` is among the atoms in ``mask``."""

    var: int
    mask: int


@dataclass(frozen=True, slots=True)
class AllOf:
    """Every part holds; of no parts, true."""

    parts: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """At least one part holds; of no parts, false."""

    parts: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Not:
    """The part does not hold."""

    part: Node


Node = Among | AllOf | AnyOf | Not


@dataclass(frozen=True, slots=True)
class Truth:
    """The two bits of a condition: it holds whatever the unknown turn out to be; it could hold."""

    must: bool
    may: bool

    def __bool__(self) -> NoReturn:
        """Refuse: three answers do not fit into two."""
        raise TypeError("a condition has three answers: ask for .must or .may")


FALSE = Truth(must=False, may=False)


def evaluate(node: Node, states: Sequence[State]) -> Truth:
    """Answer ``node`` for the given states, by definition: the specification of every reader."""
    match node:
        case Among(var, mask):
            return Truth(must=states[var] & ~mask == 0, may=states[var] & mask != 0)
        case AllOf(parts):
            answers = [evaluate(part, states) for part in parts]
            return Truth(must=all(a.must for a in answers), may=all(a.may for a in answers))
        case AnyOf(parts):
            answers = [evaluate(part, states) for part in parts]
            return Truth(must=any(a.must for a in answers), may=any(a.may for a in answers))
        case Not(part):
            answer = evaluate(part, states)
            return Truth(must=not answer.may, may=not answer.must)


class Status(Enum):
    """What became of one rule on one visit."""

    FIRED = "fired"
    PROVISIONAL = "provisional"
    UNDECIDED = "undecided"
    RULED_OUT = "ruled out"


STATUSES = (Status.RULED_OUT, Status.UNDECIDED, Status.PROVISIONAL, Status.FIRED)
"""Statuses by their codes."""


def status(own: Truth, replaced: Truth) -> Status:
    """Combine a rule's own truth with that of what replaces it (A unless B).

    must = own.must and not replaced.may; may = own.may and not replaced.must. Where the rule itself
    is certain and only its replacement is open, it is provisional: act on it, unless.
    """
    if not own.may or replaced.must:
        return Status.RULED_OUT
    if own.must:
        return Status.PROVISIONAL if replaced.may else Status.FIRED
    return Status.UNDECIDED


def tests(node: Node) -> Iterator[Among]:
    """Yield every test in ``node``, in the order in which it stands there."""
    match node:
        case Among():
            yield node
        case Not(part):
            yield from tests(part)
        case AllOf(parts) | AnyOf(parts):
            for part in parts:
                yield from tests(part)


def variables(node: Node) -> Iterator[int]:
    """Yield the variable of every test in ``node``, as often as it stands there."""
    return (test.var for test in tests(node))
