"""The reader of cohorts: all rules over many visits at once, by AND and OR of bit planes.

It reads blocks of 65,536 visits, so that what it works on stays in the cache and memory stays flat. `plane_code` writes
the program down once; here it is laid into registers, which are used again as soon as they are free. Where planes come
from: of states one by one, here; of visits in codes, `engine.cohort.coded`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from layette.engine.logic.conditions import State
from layette.engine.logic.plane_code import ALWAYS, INPUTS, NEVER, Code, Op, RulePlanes, Word, code_of
from layette.engine.logic.program import Program

Plane = NDArray[np.uint64]
"""One bit a visit, 64 visits a word, the lowest bit first; bits past the last visit mean nothing."""
Numbers = NDArray[np.int64]
"""For each rule the number of a plane."""


class Asked(NamedTuple):
    """Whether a state ``must`` (or may) lie within a mask, which is neither empty nor all of it."""

    must: bool
    mask: State

    def holds(self, state: State) -> bool:
        """Return the answer at one state."""
        return not state & ~self.mask if self.must else bool(state & self.mask)


Planes = Mapping[int, Sequence[Plane]]
"""For each variable that varies in a cohort, the planes of `PlanesReader.asked`; one that is left out is unknown."""

BLOCK = 65_536
"""Visits that are read at once: 1,024 words a plane."""
_WORDS = BLOCK // 64
_PARTS = len(RulePlanes._fields)


@dataclass(frozen=True)
class CohortReading:
    """What became of each rule at each visit: ``planes``, each once, and for each rule the numbers of its own.

    ``high``, ``low`` and ``provisional`` tell the status, ``applies`` and ``may_apply`` whom the rule is for
    (`plane_code.RulePlanes`); ``conclusions``: not "no", and "yes".
    """

    visits: int
    planes: Sequence[Plane]
    high: Numbers
    low: Numbers
    provisional: Numbers
    applies: Numbers
    may_apply: Numbers
    conclusions: Mapping[int, tuple[Plane, Plane]]

    def counts(self, among: Plane | None = None) -> NDArray[np.int64]:
        """Return the visits of each rule by status, in the order of `STATUSES`; ``among``: of these visits alone."""
        ones = self._ones(among, self.high, self.low, self.provisional)
        total = self.visits if among is None else int(_ones([among], self.visits)[0])
        provisional = ones[self.provisional]
        fired = ones[self.high] - provisional
        undecided = ones[self.low] - fired
        return np.stack([total - undecided - provisional - fired, undecided, provisional, fired], axis=1)

    def eligible(self, among: Plane | None = None) -> NDArray[np.int64]:
        """Return the visits for which each rule surely is, and those for which it may be."""
        ones = self._ones(among, self.applies, self.may_apply)
        return np.stack([ones[self.applies], ones[self.may_apply]], axis=1)

    def _ones(self, among: Plane | None, *parts: Numbers) -> NDArray[np.int64]:
        """Return the visits that are set in each plane that some rule has in ``parts``, 0 for the others."""
        asked = np.unique(np.concatenate(parts))
        planes = [self.planes[k] if among is None else self.planes[k] & among for k in asked]
        ones = np.zeros(len(self.planes), np.int64)
        ones[asked] = _ones(planes, self.visits)
        return ones

    def codes(self, rule: int) -> NDArray[np.uint8]:
        """Return the status of a rule at every visit, as its place in `STATUSES`, by its two bits."""
        high, low = (bits(self.planes[numbers[rule]], self.visits) for numbers in (self.high, self.low))
        return high * np.uint8(2) + low

    def standing(self, rule: int) -> NDArray[np.int64]:
        """Return the numbers of the visits at which a rule fired or is provisional."""
        return np.flatnonzero(bits(self.planes[self.high[rule]], self.visits))


class PlanesReader:
    """A program over cohorts; immutable, so threads may share it.

    ``asked`` are, for each variable, the tests of which `Planes` holds a plane each, in this order.
    """

    name = "planes"

    def __init__(self, program: Program, varying: Collection[int] | None = None) -> None:
        """Write ``program`` down; variables that are not ``varying`` are unknown at every visit."""
        self.program = program
        self.code = code_of(program, varying)
        self._layout = _laid_out(self.code)
        found: dict[int, list[Asked]] = {}
        for made in self._layout.inputs:
            found.setdefault(made.left, []).append(Asked(made.word == "must", made.right))
        self.asked: Mapping[int, tuple[Asked, ...]] = {var: tuple(tests) for var, tests in found.items()}

    def read(self, planes: Planes, visits: int) -> CohortReading:
        """Return what became of every rule at each of ``visits`` visits. Conclusions are drawn, never given."""
        words = words_for(visits)
        given, out = self._given(planes, words), np.empty((self._layout.outputs, words), np.uint64)
        work = self._work(min(words, _WORDS))
        for begin in range(0, words, _WORDS):
            part = slice(begin, min(begin + _WORDS, words))
            self._run([*(plane[part] for plane in given), *work[:, : part.stop - begin], *out[:, part]])
        return self._reading([*given, *work, *out], visits)

    def read_blocks(self, blocks: Iterable[tuple[Planes, int]]) -> Iterator[CohortReading]:
        """Yield what became of each block: its planes, and how many visits it has, at most `BLOCK`.

        Memory is that of one block: what is yielded is overwritten when the next one is asked for.
        """
        made = self._work(_WORDS), np.empty((self._layout.outputs, _WORDS), np.uint64)
        for planes, visits in blocks:
            words = words_for(visits)
            slots = [*self._given(planes, words), *(row[:words] for rows in made for row in rows)]
            self._run(slots)
            yield self._reading(slots, visits)

    def _work(self, words: int) -> NDArray[np.uint64]:
        return np.empty((self._layout.registers, words), np.uint64)

    def _given(self, planes: Planes, words: int) -> list[Plane]:
        """Return what no step makes; of an unknown variable every test may hold, and none must."""
        never, always = np.zeros(words, np.uint64), np.full(words, ~np.uint64(0))
        made = [never, always]
        given = {var: iter(planes[var]) if var in planes else None for var in self.asked}
        for test in self._layout.inputs:
            known = given[test.left]
            made.append(next(known) if known is not None else always if test.word == "may" else never)
        return made

    def _run(self, slots: Sequence[Plane]) -> None:
        for act, left, right, to in self._layout.steps:
            act(slots[left], slots[right], slots[to])

    def _reading(self, slots: Sequence[Plane], visits: int) -> CohortReading:
        layout = self._layout
        planes = [slots[slot] for slot in layout.ends.values()]
        conclusions = {
            var: (slots[layout.ends[no]], slots[layout.ends[yes]]) for var, (no, yes) in self.code.conclusions.items()
        }
        high, low, provisional, applies, may_apply = layout.numbers
        return CohortReading(visits, planes, high, low, provisional, applies, may_apply, conclusions)


def words_for(visits: int) -> int:
    """Return how many words a plane of so many visits has."""
    return -(-visits // 64)


def last_word(visits: int) -> np.uint64:
    """Return the bits of the last word that are visits."""
    return ~np.uint64(0) >> np.uint64(-visits % 64)


def bits(plane: Plane, visits: int) -> NDArray[np.uint8]:
    """Return a plane as a 0 or 1 a visit."""
    return np.unpackbits(plane.view(np.uint8), count=visits, bitorder="little")


def plane_of(flags: NDArray[np.bool_]) -> Plane:
    """Return a truth a visit as a plane."""
    packed = np.packbits(flags, bitorder="little")
    return np.pad(packed, (0, -len(packed) % 8)).view("<u8").astype(np.uint64, copy=False)


def planes_of_states(reader: PlanesReader, visits: Sequence[Sequence[State]]) -> dict[int, list[Plane]]:
    """Return the planes of a cohort given as the states of each visit: plain, and slow; for tests and small cohorts."""
    return {
        var: [plane_of(np.array([test.holds(states[var]) for states in visits], bool)) for test in tests]
        for var, tests in reader.asked.items()
    }


def _ones(planes: Sequence[Plane], visits: int) -> NDArray[np.int64]:
    """Return the number of visits that are set in each plane."""
    ones = np.empty((len(planes), words_for(visits)), np.uint8)
    count = np.bitwise_count if hasattr(np, "bitwise_count") else _count
    for plane, row in zip(planes, ones, strict=True):
        count(plane, row)
    if visits % 64:
        ones[:, -1] = [int(plane[-1] & last_word(visits)).bit_count() for plane in planes]
    return np.asarray(np.add.reduce(ones, axis=1, dtype=np.uint32), np.int64)


def _count(plane: Plane, ones: NDArray[np.uint8]) -> None:
    """Write the set bits of each word: as `numpy.bitwise_count`, which older NumPy lacks."""
    np.add.reduce(_of_two_bytes()[plane.view(np.uint16)].reshape(-1, 4), axis=1, dtype=np.uint8, out=ones)


@cache
def _of_two_bytes() -> NDArray[np.uint8]:
    return np.array([number.bit_count() for number in range(1 << 16)], np.uint8)


_ACTS: Mapping[Word, Any] = {"and": np.bitwise_and, "or": np.bitwise_or, "not": np.bitwise_xor, "but": np.bitwise_xor}
_CONSTANT = {NEVER: 0, ALWAYS: 1}
"""The slots of what is the same at every visit."""


@dataclass(frozen=True)
class _Layout:
    """Code in slots: of the constants, the ``inputs``, the ``registers``, and the ``outputs``.

    A step joins two slots into a third. ``ends`` is the slot of each plane that is told of, ``numbers`` are for each
    part of `plane_code.RulePlanes` the places among these of all rules.
    """

    inputs: tuple[Op, ...]
    registers: int
    outputs: int
    ends: Mapping[int, int]
    numbers: tuple[Numbers, ...]
    steps: tuple[tuple[Any, int, int, int], ...]


def _laid_out(code: Code) -> _Layout:
    needed = code.needed()
    inputs = [k for k in needed if code.ops[k].word in INPUTS]
    slot = _CONSTANT | {k: n for n, k in enumerate(inputs, len(_CONSTANT))}
    acts = [k for k in needed if k not in slot]
    told = [plane for rule in code.rules for plane in rule] + [p for two in code.conclusions.values() for p in two]
    outputs = [plane for plane in dict.fromkeys(told) if plane not in slot]
    places, registers = _registers(code, acts, {*outputs})
    slot |= {k: len(slot) + n for k, n in places.items()}
    slot |= {k: n for n, k in enumerate(outputs, len(_CONSTANT) + len(inputs) + registers)}
    ends = {plane: slot[plane] for plane in dict.fromkeys(told)}
    place = {plane: n for n, plane in enumerate(ends)}
    numbers = np.array([[place[plane] for plane in rule] for rule in code.rules], np.int64).reshape(-1, _PARTS)
    steps = tuple(_step(code.ops[k], slot, slot[k]) for k in acts)
    return _Layout(tuple(code.ops[k] for k in inputs), registers, len(outputs), ends, (*numbers.T,), steps)


def _step(made: Op, slot: Mapping[int, int], to: int) -> tuple[Any, int, int, int]:
    """Return one step: what is not in a plane is the difference between it and all visits."""
    return _ACTS[made.word], slot[made.left], slot[ALWAYS if made.word == "not" else made.right], to


def _registers(code: Code, acts: Sequence[int], rows: Collection[int]) -> tuple[dict[int, int], int]:
    """Give each operation a register until it is used last; what goes out is written into its row, and needs none."""
    parts = {k: {code.ops[k].left} if code.ops[k].word == "not" else {*code.ops[k][1:]} for k in acts}
    uses = Counter(part for k in acts for part in parts[k])
    places: dict[int, int] = {}
    free: list[int] = []
    made = 0
    for k in acts:
        if k not in rows:
            places[k] = free.pop() if free else made
            made += places[k] == made
        for part in parts[k]:
            uses[part] -= 1
            if not uses[part] and part in places:
                free.append(places[part])
    return places, made
