"""What a condition means: the specification that every reader is held to.

A *variable* is one view of one finding, measure, conclusion or setting. What is known of it is its
*state*: the set of values that are still possible, as a bit mask over its *atoms* (`engine.atoms`).
Exactly known is one bit, unknown is all bits. A *test* asks whether the value lies in a set of atoms:
it *must* hold if the state lies inside that set, and *may* hold if the two overlap. Tests are joined
by strong Kleene logic, so a condition has two bits and three answers.

`evaluate` is the reference: the whole meaning, in a screenful. The rest of this module brings a tree
into normal form (negation at the leaves, tests of one variable merged), which never makes an answer
less sharp, and asks what an open condition still depends on.
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


TRUE = Truth(must=True, may=True)
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


def normal_form(node: Node, full: Sequence[State]) -> Node:
    """Return an equal, or sharper, tree without `Not` and with one test a variable in each `AllOf`/`AnyOf`.

    Args:
        node: any condition.
        full: for each variable, the mask of all its atoms.
    """
    return _merged(_pushed(node, full, negate=False))


def _pushed(node: Node, full: Sequence[State], *, negate: bool) -> Node:
    match node:
        case Among(var, mask):
            return Among(var, full[var] & ~mask) if negate else node
        case Not(part):
            return _pushed(part, full, negate=not negate)
        case AllOf(parts) | AnyOf(parts):
            pushed = tuple(_pushed(part, full, negate=negate) for part in parts)
            return AnyOf(pushed) if isinstance(node, AllOf) is negate else AllOf(pushed)


def _merged(node: Node) -> Node:
    if isinstance(node, Among | Not):
        return node
    kind = type(node)
    tests: dict[int, int] = {}
    rest: list[Node] = []
    for part in _flattened(node.parts, kind):
        if not isinstance(part, Among):
            rest.append(part)
        elif part.var in tests:
            both = tests[part.var]
            tests[part.var] = both & part.mask if kind is AllOf else both | part.mask
        else:
            tests[part.var] = part.mask
    parts = (*(Among(var, mask) for var, mask in tests.items()), *dict.fromkeys(rest))
    return parts[0] if len(parts) == 1 else kind(parts)


def _flattened(parts: Sequence[Node], kind: type[AllOf] | type[AnyOf]) -> Iterator[Node]:
    for part in map(_merged, parts):
        if isinstance(part, kind):
            yield from part.parts
        else:
            yield part


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
