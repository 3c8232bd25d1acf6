"""The second reader's terms: authored trees as conjunctions, variables as facts, and what must stay inside limits.

A condition becomes two lists of *conjunctions*: the ways in which it surely holds, and those in which it surely
fails. Strong Kleene is a distributive lattice, so "must hold" is "every test of some conjunction must hold", and
"ruled out" is "the complement must hold". A variable is one small fact. Of an unknown one nothing is asserted: only a
test that folds away here could match it. The limits are those of durable-rules' C source; this module does not need it.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import prod
from typing import Any

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State, variables
from layette.engine.logic.program import CompiledRule, Variable

MAX_WAYS = 64  # conjunctions a side of a rule
MAX_PATTERNS = 16  # MAX_MESSAGE_FRAMES, error 304
MAX_ALTERNATIVES = 14  # `$or` in a pattern: MAX_SEQUENCE_EXPRESSIONS 32, error 113
MAX_PENDING = 56  # tests of one fact that may wait at once: MAX_STACK_SIZE 64, error 303
MAX_TESTS = 30  # of a ruleset: 10 kB each in every visit, 150 kB for the facts; a near cache holds 512 kB
MANY = 400  # ways that are not worth counting further
MAX_TEXTS = 500  # states of one variable whose facts are kept


Way = Mapping[int, State]
"""A conjunction: for each variable in it, the atoms among which its state must lie."""

Conjunction = frozenset[tuple[int, State]]
"""The same, to be told from others."""


# --- from authored trees to conjunctions


@dataclass(frozen=True, slots=True)
class _Group:
    """All (or any) of some tests, one a variable, and of some groups of the other kind."""

    every: bool
    tests: tuple[tuple[int, State], ...]
    groups: tuple[_Group, ...]


class _TooManyWaysError(Exception):
    """A condition whose ways are not worth counting to the end."""


def _grouped(node: Node, wanted: bool, full: Sequence[State]) -> _Group:
    """Read ``node``, or its complement, with the tests of one variable united or intersected."""
    match node:
        case Among(var, mask):
            return _Group(True, ((var, mask if wanted else full[var] & ~mask),), ())
        case Not(part):
            return _grouped(part, not wanted, full)
        case AllOf(parts) | AnyOf(parts):
            return _joined(isinstance(node, AllOf) is wanted, [_grouped(part, wanted, full) for part in parts])


def _joined(every: bool, parts: Iterable[_Group]) -> _Group:
    tests: dict[int, State] = {}
    groups: dict[_Group, None] = {}
    for part in parts:
        if part.every is not every and (part.groups or len(part.tests) != 1):
            groups[part] = None
            continue
        for var, mask in part.tests:
            known = tests.get(var, mask)
            tests[var] = known & mask if every else known | mask
        groups.update(dict.fromkeys(part.groups))
    if len(groups) == 1 and not tests:
        return next(iter(groups))
    return _Group(every, tuple(tests.items()), tuple(groups))


def _ways(group: _Group, full: Sequence[State]) -> list[Way]:
    parts = [_test_ways(var, mask, full[var]) for var, mask in group.tests]
    parts += [_ways(inner, full) for inner in group.groups]
    return _product(parts) if group.every else _absorbed(way for part in parts for way in part)


def _test_ways(var: int, mask: State, full: State) -> list[Way]:
    """Fold a test that no state can pass, and one that every state does."""
    if not mask:
        return []
    return [{}] if mask == full else [{var: mask}]


def _product(parts: Iterable[Sequence[Way]]) -> list[Way]:
    ways: list[Way] = [{}]
    for part in parts:
        both = (_both(one, two) for one in ways for two in part)
        ways = _absorbed(way for way in both if all(way.values()))
    return ways


def _both(one: Way, two: Way) -> Way:
    return {**one, **{var: mask & one.get(var, mask) for var, mask in two.items()}}


def _absorbed(ways: Iterable[Way]) -> list[Way]:
    """Leave out each way that asks for more than another one does."""
    kept: list[Way] = []
    for way in ways:
        if not any(_implies(way, other) for other in kept):
            kept = [*(other for other in kept if not _implies(other, way)), way]
        if len(kept) > MANY:
            raise _TooManyWaysError
    return kept


def _implies(way: Way, other: Way) -> bool:
    return all(var in way and way[var] & ~mask == 0 for var, mask in other.items())


def _condition_ways(parts: Sequence[Node], every: bool, wanted: bool, full: Sequence[State]) -> list[Way]:
    """Ways of all (or any) of conditions that the specification reads apart: nothing is merged across them."""
    each = [_ways(_grouped(part, wanted, full), full) for part in parts]
    return _product(each) if every is wanted else _absorbed(way for ways in each for way in ways)


def sides_of(rule: CompiledRule, full: Sequence[State]) -> Iterator[list[Way]]:
    """Yield ways in which the rule holds, fails, is replaced, is not replaced.

    ``authored`` is ``AllOf((guard, when))``, which the specification evaluates apart.
    """
    own: tuple[Node, ...] = (rule.authored,)
    if rule.applies != AllOf(()) and isinstance(rule.authored, AllOf) and len(rule.authored.parts) == 2:
        own = rule.authored.parts
    for parts, every in ((own, True), (rule.authored_replacements, False)):
        for wanted in (True, False):
            yield _condition_ways(parts, every, wanted, full)


# --- what durable-rules can hold


def at_most(rule: CompiledRule, variables: Sequence[Variable]) -> tuple[int, int, int, int]:
    """Return upper bounds of conjunctions a side, findings in one, comparisons of a finding, gaps between its ranges.

    They are linear in the tests of a rule, and most rules are so small that nothing has to be laid out.
    """
    ends: dict[int, int] = {}
    own = _most_ways(rule.authored, ends)
    others = [_most_ways(node, ends) for node in rule.authored_replacements]
    replaced = (sum(holds for holds, _ in others), prod(fails for _, fails in others))
    asked = [2 * ends[var] + 1 if variables[var].ordered else len(variables[var].atoms) for var in ends]
    gaps = max((ends[var] // 2 + 1 for var in ends if variables[var].ordered), default=0)
    return max(*own, *replaced), len(ends), max(asked, default=0), gaps


def _most_ways(node: Node, ends: dict[int, int]) -> tuple[int, int]:
    """Return how many conjunctions hold and fail at most, one at least; count where the ranges of a variable may end.

    Whatever is made of masks turns from in to out nowhere but where one of them does.
    """
    match node:
        case Among(var, mask):
            ends[var] = ends.get(var, 0) + (mask ^ (mask >> 1)).bit_count()
            return 1, 1
        case Not(part):
            hold, fail = _most_ways(part, ends)
            return fail, hold
        case AllOf(parts) | AnyOf(parts):
            each = [_most_ways(part, ends) for part in parts]
            holds, fails = [hold for hold, _ in each], [fail for _, fail in each]
            if isinstance(node, AllOf):
                return prod(holds), max(1, sum(fails))
            return max(1, sum(holds)), prod(fails)


def check_limits(rule: CompiledRule, variables: Sequence[Variable], full: Sequence[State] | None = None) -> list[str]:
    """Say what in ``rule`` the second reader cannot hold, and how to split it. Needs no durable-rules.

    ``full`` are all atoms of each variable: whoever checks many rules lays them out once.
    """
    limits = (MAX_WAYS, MAX_PATTERNS, MAX_PENDING, MAX_ALTERNATIVES)
    if all(most <= limit for most, limit in zip(at_most(rule, variables), limits, strict=True)):
        return []
    try:
        sides = list(sides_of(rule, [variable.full for variable in variables] if full is None else full))
    except _TooManyWaysError:
        return [_advice(rule, variables, f"more than {MANY} conjunctions", MAX_WAYS)]
    ways = [way for side in sides for way in side]
    most, longest = max(map(len, sides)), max(map(len, ways), default=0)
    found = [_advice(rule, variables, f"{most} conjunctions", MAX_WAYS)] if most > MAX_WAYS else []
    if longest > MAX_PATTERNS:
        found.append(_advice(rule, variables, f"{longest} findings in one conjunction", MAX_PATTERNS))
    for var, masks in masks_of(ways).items():
        fact = Fact(var, variables[var], masks)
        for size, limit, what in (
            (fact.alternatives, MAX_ALTERNATIVES, "gaps between ranges"),
            (fact.pending, MAX_PENDING, "comparisons"),
        ):
            if size > limit:
                found.append(_advice(rule, variables, f"{size} {what} of {variables[var].key!r}", limit))
    return found


def _advice(rule: CompiledRule, known: Sequence[Variable], needs: str, limit: int) -> str:
    """Name the widest part below the top, by the variables in it."""
    parts: list[Node] = [rule.authored, *rule.authored_replacements]
    while any(isinstance(part, AllOf) for part in parts):
        parts = [inner for part in parts for inner in (part.parts if isinstance(part, AllOf) else (part,))]
    keys = max((list(dict.fromkeys(variables(part))) for part in parts), key=len, default=[])
    if len(keys) < 2:  # one long conjunction: half of it
        everything = list(dict.fromkeys(variables(rule.authored)))
        keys = everything[: len(everything) // 2] or keys
    part = ", ".join(known[var].key for var in keys)
    return f"{rule.id} needs {needs}; the limit is {limit}: give the part on {part!r} a conclusion of its own"


def masks_of(ways: Iterable[Way]) -> dict[int, set[State]]:
    """Return, for each variable, the masks that conjunctions ask of it."""
    masks: dict[int, set[State]] = defaultdict(set)
    for way in ways:
        for var, mask in way.items():
            masks[var].add(mask)
    return masks


class Fact:
    """How the states of one variable are asserted in one ruleset, and how its tests are asked.

    An ordered variable says its lowest (lo) and highest (hi) possible cell, and apart from them whether it may
    not apply (n). Of the others, atoms that no test here tells apart form a class, and the fact names each
    class that is out of question: a set of atoms lies inside a mask if all classes outside are named. Each name
    ends in the number of the variable: durable-rules finds tests by name, and tries all of the same name in turn.
    """

    def __init__(self, number: int, variable: Variable, masks: Iterable[State]) -> None:
        self.number, self.ordered, self.last = number, variable.ordered, len(variable.atoms) - 1
        self.masks = sorted(masks)
        classes: dict[tuple[int, ...], State] = defaultdict(int)
        for atom in range(self.last + 1):
            classes[tuple(mask >> atom & 1 for mask in self.masks)] |= 1 << atom
        self._classes = list(classes.values())
        questions = [self._questions(mask) for mask in self.masks]
        asked = {str(test) for question in questions for test in _leaves(question)}
        self.pending = len(asked)
        self.alternatives = max(map(self.choices, self.masks), default=0)

    def pattern(self, mask: State) -> dict[str, Any]:
        """Return the durable-rules expression for "the state lies inside ``mask``"."""
        return {"$and": self._questions(mask)}

    def choices(self, mask: State) -> int:
        """Return how many times ``pattern(mask)`` says `$or`."""
        return sum("$or" in test for test in self._questions(mask))

    def text(self, state: State) -> str:
        """Return the fact as JSON, or nothing if ``state`` lies inside none of the masks: no test here can match it.

        It brings its own id. One that durable-rules makes is a hash of 32 bits in the end, and of two facts
        whose hashes collide the second is dropped: of 4,000 pairs in a visit, once in a million visits.
        """
        if all(state & ~mask for mask in self.masks):
            return ""
        return json.dumps({"id": self.number, **self._values(state)}, separators=(",", ":"))

    def _questions(self, mask: State) -> list[dict[str, Any]]:
        if not self.ordered:
            return [{name: 1} for name, atoms in self._named() if not atoms & mask]
        cells = [self._beside(low, high) for low, high in _gaps(mask, self.last)]
        return cells if mask & 1 else [*cells, {f"n{self.number}": 0}]

    def _beside(self, low: int, high: int) -> dict[str, Any]:
        """An interval with no cell of the gap in it lies below the gap or above it."""
        below, above = {"$lt": {f"hi{self.number}": low}}, {"$gt": {f"lo{self.number}": high}}
        return above if low == 1 else below if high == self.last else {"$or": [below, above]}

    def _values(self, state: State) -> dict[str, int]:
        if not self.ordered:
            return {name: 1 for name, atoms in self._named() if not atoms & state}
        cells = state & ~1
        low, high = (cells & -cells).bit_length() - 1, cells.bit_length() - 1
        if not cells:  # it does not apply, so that every test of its cells may be passed
            low, high = self.last + 1, 0
        return {f"n{self.number}": state & 1, f"lo{self.number}": low, f"hi{self.number}": high}

    def _named(self) -> Iterator[tuple[str, State]]:
        return ((f"x{k}_{self.number}", atoms) for k, atoms in enumerate(self._classes))


def _gaps(mask: State, last: int) -> Iterator[tuple[int, int]]:
    """Yield the runs of cells that are not in ``mask``."""
    low = None
    for cell in range(1, last + 2):
        inside = cell > last or mask >> cell & 1
        if inside and low is not None:
            yield low, cell - 1
            low = None
        elif not inside and low is None:
            low = cell


def _leaves(tests: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    for test in tests:
        yield from test.get("$or", (test,))
