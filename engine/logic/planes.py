"""The reader of cohorts: all rules over many visits at once, by AND and OR of bit planes.

It reads blocks of 65,536 visits, so that what it works on stays in the cache and memory stays flat. `plane_code` writes
the program down once; here it is laid into registers, which are used again as soon as they are free.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layette.engine.logic.conditions import State, Status
from layette.engine.logic.plane_code import ALWAYS, NEVER, Code, code_of
from layette.engine.logic.program import Program

Plane = NDArray[np.uint64]
"""One bit a visit, 64 visits a word, the lowest bit first; bits past the last visit mean nothing."""
Numbers = NDArray[np.int64]
"""For each rule the number of a plane."""
Planes = Mapping[int, Sequence[Plane]]
"""For each variable that varies in a cohort, the planes of its atoms; a variable that is left out is unknown."""

BLOCK = 65_536
"""Visits that are read at once: 1,024 words a plane."""
_WORDS = BLOCK // 64
STATUSES = (Status.RULED_OUT, Status.UNDECIDED, Status.PROVISIONAL, Status.FIRED)
"""Statuses by their two bits, ``high`` and ``low``."""


@dataclass(frozen=True)
class CohortReading:
    """What became of each rule at each visit: ``planes``, each once, and for each rule the numbers of its own.

    ``high`` and ``low`` tell the status, ``applies`` and ``may_apply`` whom the rule is for (`plane_code.RulePlanes`);
    ``conclusions``: not "no", and "yes".
    """

    visits: int
    planes: NDArray[np.uint64]
    high: Numbers
    low: Numbers
    applies: Numbers
    may_apply: Numbers
    conclusions: Mapping[int, tuple[Plane, Plane]]

    def counts(self, among: Plane | None = None) -> NDArray[np.int64]:
        """Return the visits of each rule by status, in the order of `STATUSES`; ``among``: of these visits alone."""
        planes = self._among(among)
        ones = _ones(planes)
        both = np.array(
            [int(_ones((planes[h] & planes[k])[None])[0]) for h, k in zip(self.high, self.low, strict=True)]
        )
        total = self.visits if among is None else int(_ones(among[None, :])[0])
        undecided, provisional = ones[self.low] - both, ones[self.high] - both
        return np.stack([total - undecided - provisional - both, undecided, provisional, both], axis=1)

    def eligible(self, among: Plane | None = None) -> NDArray[np.int64]:
        """Return the visits for which each rule surely is, and those for which it may be."""
        ones = _ones(self._among(among))
        return np.stack([ones[self.applies], ones[self.may_apply]], axis=1)

    def _among(self, among: Plane | None) -> NDArray[np.uint64]:
        return self.planes if among is None else self.planes & among

    def codes(self, rule: int) -> NDArray[np.uint8]:
        """Return the status of a rule at every visit, as its place in `STATUSES`."""
        high, low = (bits(self.planes[numbers[rule]], self.visits) for numbers in (self.high, self.low))
        return high * np.uint8(2) + low

    def standing(self, rule: int) -> NDArray[np.int64]:
        """Return the numbers of the visits at which a rule fired or is provisional."""
        return np.flatnonzero(bits(self.planes[self.high[rule]], self.visits))


class PlanesReader:
    """A program over cohorts; immutable, so threads may share it."""

    name = "planes"

    def __init__(self, program: Program, varying: Collection[int] | None = None) -> None:
        """Write ``program`` down; variables that are not ``varying`` are unknown at every visit."""
        self.program = program
        self.code = code_of(program, varying)
        self._layout = _laid_out(self.code)

    def read(self, planes: Planes, visits: int) -> CohortReading:
        """Return what became of every rule at each of ``visits`` visits. Conclusions are drawn, never given."""
        layout, words = self._layout, words_for(visits)
        out = np.empty((len(layout.rows), words), np.uint64)
        if words:
            self._fill(planes, out)
            out[:, -1] &= last_word(visits)
        rows, rules = layout.rows, self.code.rules
        numbers = np.array([[rows[plane] for plane in rule] for rule in rules], np.int64).reshape(len(rules), 4)
        high, low, applies, may_apply = numbers.T
        conclusions = {var: (out[rows[no]], out[rows[yes]]) for var, (no, yes) in self.code.conclusions.items()}
        return CohortReading(visits, out, high, low, applies, may_apply, conclusions)

    def _fill(self, planes: Planes, out: NDArray[np.uint64]) -> None:
        layout, words = self._layout, out.shape[1]
        unknown = np.full(words, ~np.uint64(0), np.uint64)
        given = [planes[var][bit] if var in planes else unknown for var, bit in layout.inputs]
        for row, value in layout.constants:
            out[row] = value
        work = np.empty((layout.registers, min(words, _WORDS)), np.uint64)
        for begin in range(0, words, _WORDS):
            end = min(begin + _WORDS, words)
            slots: list[Any] = [plane[begin:end] for plane in given]
            slots += list(work[:, : end - begin]) if end - begin < work.shape[1] else list(work)
            slots += list(out[:, begin:end])
            for act, args in layout.steps:
                act(*[slots[k] for k in args])


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


def planes_of_masks(states: NDArray[np.unsignedinteger[Any]], atoms: int) -> list[Plane]:
    """Return the planes of a variable from the state of each visit (a bit mask, at most 64 ``atoms``)."""
    one = states.dtype.type(1)
    return [plane_of((states >> states.dtype.type(k) & one).astype(bool)) for k in range(atoms)]


def planes_of_states(program: Program, visits: Sequence[Sequence[State]]) -> dict[int, list[Plane]]:
    """Return the planes of a cohort given as the states of each visit: plain, and slow; for tests and small cohorts."""
    return {
        var: [plane_of(np.array([states[var] >> k & 1 for states in visits], bool)) for k in range(len(v.atoms))]
        for var, v in enumerate(program.variables)
        if var not in program.conclusions
    }


def _ones(planes: NDArray[np.uint64]) -> NDArray[np.int64]:
    """Return the number of set bits of each row."""
    if hasattr(np, "bitwise_count"):
        return np.asarray(np.bitwise_count(planes).sum(axis=1, dtype=np.int64))
    return np.array([int(_OF_BYTE[row.view(np.uint8)].sum(dtype=np.int64)) for row in planes], np.int64)


_OF_BYTE = np.array([number.bit_count() for number in range(256)], np.uint8)


@dataclass(frozen=True)
class _Layout:
    """Code in slots: those of the inputs, then ``registers``, then the rows of the output.

    ``inputs`` are the variable and bit of each input; ``rows`` says in which row of the output a plane stands,
    ``constants`` which of these are the same at every visit.
    """

    inputs: tuple[tuple[int, int], ...]
    registers: int
    rows: Mapping[int, int]
    constants: tuple[tuple[int, np.uint64], ...]
    steps: tuple[tuple[Any, tuple[int, ...]], ...]


def _laid_out(code: Code) -> _Layout:
    needed = code.needed()
    inputs = {k: n for n, k in enumerate(k for k in needed if code.ops[k].word == "atom")}
    ends = [plane for rule in code.rules for plane in rule] + [p for two in code.conclusions.values() for p in two]
    rows = {plane: row for row, plane in enumerate(dict.fromkeys(ends))}
    acts = [k for k in needed if k not in inputs]
    places, registers = _registers(code, acts, rows)
    base = len(inputs) + registers
    slot = {**inputs, **{k: len(inputs) + n for k, n in places.items()}}
    slot |= {k: base + row for k, row in rows.items() if k not in inputs}
    steps = [_step(code, k, slot) for k in acts]
    steps += [(np.bitwise_or, (inputs[k], inputs[k], base + row)) for k, row in rows.items() if k in inputs]
    same = {NEVER: np.uint64(0), ALWAYS: ~np.uint64(0)}
    constants = tuple((rows[plane], value) for plane, value in same.items() if plane in rows)
    return _Layout(tuple((code.ops[k].left, code.ops[k].right) for k in inputs), registers, rows, constants, (*steps,))


def _step(code: Code, number: int, slot: Mapping[int, int]) -> tuple[Any, tuple[int, ...]]:
    made = code.ops[number]
    if made.word == "not":
        return np.invert, (slot[made.left], slot[number])
    act = np.bitwise_and if made.word == "and" else np.bitwise_or
    return act, (slot[made.left], slot[made.right], slot[number])


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
