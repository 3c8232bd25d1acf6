"""A program as straight-line code over bit planes: one plane an atom, one bit a visit.

A state is a set of atoms; over a cohort each atom becomes a *plane*, whose bit v is set where the atom is still
possible at visit v. A test *may* hold where a plane inside its mask is set, and *must* hold where none outside it is,
so strong Kleene logic is plain AND and OR of planes, 64 visits a word. Each subexpression is written once, whichever
rules share it. What runs the code is `planes`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not
from layette.engine.logic.program import CompiledRule, Program

Word = Literal["atom", "and", "or", "not"]
NEVER, ALWAYS = -1, -2
"""What is false, and what is true, at every visit; any other plane is the number of the operation that writes it."""


class Op(NamedTuple):
    """One operation: ``atom`` takes bit ``right`` of variable ``left``, the others join the planes that they name."""

    word: Word
    left: int
    right: int = NEVER


class RulePlanes(NamedTuple):
    """The planes of a rule. ``high`` and ``low`` tell the status: 00 ruled out, 01 undecided, 10 provisional, 11 fired.

    ``applies`` and ``may_apply``: the rule is for this newborn whatever is still unknown; it could be.
    """

    high: int
    low: int
    applies: int
    may_apply: int


@dataclass
class Code:
    """The operations in order, and the planes of each rule and of each conclusion (not "no", "yes")."""

    ops: list[Op] = field(default_factory=list)
    rules: list[RulePlanes] = field(default_factory=list)
    conclusions: dict[int, tuple[int, int]] = field(default_factory=dict)
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
        return made.left if made.word == "not" else self.op("not", part)

    def needed(self) -> list[int]:
        """Return the numbers of the operations that some rule or conclusion needs, in order."""
        ends = {plane for rule in self.rules for plane in rule} | {p for two in self.conclusions.values() for p in two}
        for number in range(len(self.ops) - 1, -1, -1):
            made = self.ops[number]
            if number in ends and made.word != "atom":
                ends |= {made.left} if made.word == "not" else {made.left, made.right}
        return sorted(ends - {NEVER, ALWAYS})


def code_of(program: Program, varying: Collection[int] | None = None) -> Code:
    """Write a program down; variables that are not ``varying`` are unknown at every visit, and fold away."""
    return _Writer(program, varying).write()


class _Writer:
    def __init__(self, program: Program, varying: Collection[int] | None) -> None:
        self.program, self.full, self.code = program, program.full, Code()
        self.atoms = [
            [self.code.op("atom", var, k) if varying is None or var in varying else ALWAYS for k in range(len(v.atoms))]
            for var, v in enumerate(program.variables)
        ]
        self.drawn = dict.fromkeys(program.conclusions, (NEVER, NEVER))
        for var in program.conclusions:
            self.atoms[var] = [ALWAYS, NEVER]

    def write(self) -> Code:
        for rule in self.program.rules:
            self._rule(rule)
        self.code.conclusions = {var: (self.atoms[var][0], self.atoms[var][1]) for var in self.program.conclusions}
        return self.code

    def _rule(self, rule: CompiledRule) -> None:
        code, applies, may_apply = self.code, self._must(rule.applies), self._may(rule.applies)
        must, may = code.all([applies, self._must(rule.when)]), code.all([may_apply, self._may(rule.when)])
        open_still = code.all([may, code.no(code.any(map(self._must, rule.replacements)))])
        high = code.all([must, open_still])
        provisional = code.all([high, code.any(map(self._may, rule.replacements))])
        code.rules.append(RulePlanes(high, code.all([open_still, code.no(provisional)]), applies, may_apply))
        for var in rule.concludes:
            known_must, known_may = self.drawn[var]
            self.drawn[var] = now = code.any([known_must, must]), code.any([known_may, may])
            self.atoms[var] = [code.no(now[0]), now[1]]

    def _may(self, node: Node) -> int:
        match node:
            case Among(var, mask):
                return self._overlap(var, mask)
            case Not(part):
                return self.code.no(self._must(part))
            case AllOf(parts):
                return self.code.all(map(self._may, parts))
            case AnyOf(parts):
                return self.code.any(map(self._may, parts))

    def _must(self, node: Node) -> int:
        match node:
            case Among(var, mask):
                return self.code.no(self._overlap(var, self.full[var] & ~mask))
            case Not(part):
                return self.code.no(self._may(part))
            case AllOf(parts):
                return self.code.all(map(self._must, parts))
            case AnyOf(parts):
                return self.code.any(map(self._must, parts))

    def _overlap(self, var: int, mask: int) -> int:
        inside, full = mask & self.full[var], self.full[var]
        if inside == full and var not in self.drawn:  # a state is never empty
            return ALWAYS
        return self.code.any(plane for k, plane in enumerate(self.atoms[var]) if inside >> k & 1)
