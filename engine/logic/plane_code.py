"""A program as straight-line code over bit planes, one bit a visit.

A state is a set of atoms, and a test asks whether it lies within a mask. Over a cohort each test becomes two *planes*:
bit v of the one is set where the test *may* hold at visit v, as the state meets the mask, of the other where it *must*,
as the state lies within it. So strong Kleene logic is plain AND and OR of planes, 64 visits a word. Each subexpression
is written once, whichever rules share it. What runs the code is `planes`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not
from layette.engine.logic.program import CompiledRule, Program

Word = Literal["may", "must", "and", "or", "not", "but"]
INPUTS = ("may", "must")
NEVER, ALWAYS = -1, -2
"""What is false, and what is true, at every visit; any other plane is the number of the operation that writes it."""


class Op(NamedTuple):
    """One operation.

    ``may`` and ``must`` take a test, variable ``left`` within mask ``right``; the others join the planes that they
    name. ``but`` is what is in ``left`` and not in ``right``, where all of ``right`` is in ``left``.
    """

    word: Word
    left: int
    right: int = NEVER


class RulePlanes(NamedTuple):
    """The planes of a rule. ``high`` and ``low`` tell the status: 00 ruled out, 01 undecided, 10 provisional, 11 fired.

    ``provisional`` is set where both say so. ``applies`` and ``may_apply``: the rule is for this newborn whatever is
    still unknown; it could be.
    """

    high: int
    low: int
    provisional: int
    applies: int
    may_apply: int


@dataclass
class Code:
    """The operations in order, and the planes of each rule and of each conclusion (not "no", "yes")."""

    ops: list[Op] = field(default_factory=list)
    rules: list[RulePlanes] = field(default_factory=list)
    conclusions: dict[int, tuple[int, int]] = field(default_factory=dict)
    full: Sequence[int] = ()
    _known: dict[Op, int] = field(default_factory=dict)

    def op(self, word: Word, left: int, right: int = NEVER) -> int:
        """Return the plane of an operation, written once."""
        made = Op(word, left, right)
        found = self._known.get(made)
        if found is None:
            found = self._known[made] = len(self.ops)
            self.ops.append(made)
        return found

    def all(self, parts: Iterable[int]) -> int:
        """Return the plane that is set where all parts are."""
        return self._joined("and", parts, ALWAYS, NEVER)

    def any(self, parts: Iterable[int]) -> int:
        """Return the plane that is set where at least one part is."""
        return self._joined("or", parts, NEVER, ALWAYS)

    def _joined(self, word: Word, parts: Iterable[int], neutral: int, settling: int) -> int:
        # In ascending order, so that two chains with the same beginning share it.
        kept = sorted({part for part in parts if part != neutral})
        if settling in kept:
            return settling
        joined = kept[0] if kept else neutral
        for part in kept[1:]:
            joined = self.op(word, joined, part)
        return joined

    def no(self, part: int) -> int:
        """Return the plane that is set where a part is not."""
        if part in (NEVER, ALWAYS):
            return ALWAYS if part == NEVER else NEVER
        made = self.ops[part]
        if made.word in INPUTS:  # a state that does not meet a mask lies within the rest
            return self.op("must" if made.word == "may" else "may", made.left, self.full[made.left] & ~made.right)
        return made.left if made.word == "not" else self.op("not", part)

    def but(self, part: int, inner: int) -> int:
        """Return the plane that is set where a part is and an ``inner`` one, which lies in it, is not."""
        if part == NEVER or inner == NEVER:
            return part
        return self.no(inner) if part == ALWAYS else NEVER if inner == part else self.op("but", part, inner)

    def inputs(self) -> list[int]:
        """Return the numbers of the tests that some rule or conclusion needs, in order."""
        return [number for number in self.needed() if self.ops[number].word in INPUTS]

    def needed(self) -> list[int]:
        """Return the numbers of the operations that some rule or conclusion needs, in order."""
        ends = {plane for rule in self.rules for plane in rule} | {p for two in self.conclusions.values() for p in two}
        for number in range(len(self.ops) - 1, -1, -1):
            made = self.ops[number]
            if number in ends and made.word not in INPUTS:
                ends |= {made.left} if made.word == "not" else {made.left, made.right}
        return sorted(ends - {NEVER, ALWAYS})


def code_of(program: Program, varying: Collection[int] | None = None) -> Code:
    """Write a program down; variables that are not ``varying`` are unknown at every visit, and fold away."""
    return _Writer(program, varying).write()


class _Writer:
    def __init__(self, program: Program, varying: Collection[int] | None) -> None:
        self.program, self.full, self.code = program, program.full, Code(full=program.full)
        self.varying = range(len(program.variables)) if varying is None else varying
        self.drawn = dict.fromkeys(program.conclusions, (NEVER, NEVER))
        self.atoms = dict.fromkeys(program.conclusions, (ALWAYS, NEVER))

    def write(self) -> Code:
        for rule in self.program.rules:
            self._rule(rule)
        self.code.conclusions = dict(self.atoms)
        return self.code

    def _rule(self, rule: CompiledRule) -> None:
        code, applies, may_apply = self.code, self._must(rule.applies), self._may(rule.applies)
        must, may = code.all([applies, self._must(rule.when)]), code.all([may_apply, self._may(rule.when)])
        replaced = code.any(map(self._must, rule.replacements))
        open_still = code.all([may, code.no(replaced)])
        high = must if replaced == NEVER else code.all([must, open_still])  # what must be may be
        provisional = code.all([high, code.any(map(self._may, rule.replacements))])
        code.rules.append(RulePlanes(high, code.but(open_still, provisional), provisional, applies, may_apply))
        for var in rule.concludes:
            known_must, known_may = self.drawn[var]
            self.drawn[var] = now = code.any([known_must, must]), code.any([known_may, may])
            self.atoms[var] = code.no(now[0]), now[1]

    def _may(self, node: Node) -> int:
        match node:
            case Among(var, mask):
                return self._test("may", var, mask & self.full[var])
            case Not(part):
                return self.code.no(self._must(part))
            case AllOf(parts):
                return self.code.all(map(self._may, parts))
            case AnyOf(parts):
                return self.code.any(map(self._may, parts))

    def _must(self, node: Node) -> int:
        match node:
            case Among(var, mask):
                return self._test("must", var, mask & self.full[var])
            case Not(part):
                return self.code.no(self._may(part))
            case AllOf(parts):
                return self.code.all(map(self._must, parts))
            case AnyOf(parts):
                return self.code.any(map(self._must, parts))

    def _test(self, word: Literal["may", "must"], var: int, mask: int) -> int:
        full = self.full[var]
        if mask in (0, full):  # a state is never empty
            return ALWAYS if mask else NEVER
        if var in self.drawn:
            rest = full & ~mask
            return self._drawn(var, mask) if word == "may" else self.code.no(self._drawn(var, rest))
        if var not in self.varying:
            return ALWAYS if word == "may" else NEVER
        return self.code.op(word, var, mask)

    def _drawn(self, var: int, mask: int) -> int:
        return self.code.any(plane for k, plane in enumerate(self.atoms[var]) if mask >> k & 1)
