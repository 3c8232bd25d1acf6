"""Planes of visits in codes: what stands in a column is a number a visit, and for each number the state that it means.

So is a dictionary column of Arrow, and so are the cells of a number line. A state is looked at once, however many
visits have it. All codes from a limit up are one plane; where the codes of a test are runs, each limit of a run is
such a plane, and the test is their difference (XOR). With codes in the order of their cells, most tests are one run.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from layette.engine.logic.conditions import State
from layette.engine.logic.planes import BLOCK, Asked, CohortReading, Plane, Planes, PlanesReader, bits, words_for
from layette.engine.logic.program import NO, YES

_KEPT = 1 << 14
"""Recipes that are remembered: one a variable and set of states."""
_TOGETHER = 8
"""Limits that are compared in one go: half a megabyte, so that it stays in the cache."""


@dataclass(frozen=True, slots=True)
class Coded:
    """One variable over a cohort: the code of each visit, and the ``states`` that the codes stand for.

    ``known``: the visits of which something is known; the codes of the others mean nothing. None: all.
    """

    codes: NDArray[np.unsignedinteger[Any]]
    states: tuple[State, ...]
    known: Plane | None = None


Block = tuple[Mapping[int, Coded], int]
"""The variables of some visits in codes, and how many visits; a variable that is left out is unknown."""


def read_coded(reader: PlanesReader, blocks: Iterable[Block]) -> Iterator[CohortReading]:
    """Yield what became of each block of at most `BLOCK` visits; each is overwritten by the next."""
    maker = PlaneMaker(reader)
    return reader.read_blocks((maker.planes(coded, visits), visits) for coded, visits in blocks)


def read_rows(reader: PlanesReader, rows: Sequence[Sequence[State]]) -> CohortReading:
    """Return what became of visits given as their states, a row each."""
    columns = [*zip(*rows, strict=True)]
    coded = {var: _coded(columns[var]) for var in reader.asked} if rows else {}
    return reader.read(PlaneMaker(reader, len(rows)).planes(coded, len(rows)), len(rows))


def _coded(column: Sequence[State]) -> Coded:
    states = tuple(sorted(set(column)))
    number = {state: code for code, state in enumerate(states)}
    return Coded(np.array([number[state] for state in column], dtype_for(len(states))), states)


class KnownStates:
    """The states of visits as they come in, one visit after another: of each only what is known is told."""

    def __init__(self, full: Sequence[State]) -> None:
        """Take the states in which nothing is known."""
        self._full, self.visits = full, 0
        self._known: list[int] = []
        self._number: list[int] = []
        self._states: list[State] = []
        self._values: list[str] = []
        self._coded: dict[int, Coded] = {}

    def add(self, states: Sequence[State], known: Sequence[int], values: Sequence[str] = ()) -> None:
        """Add a visit, of which the variables ``known`` are known; ``values``: theirs, where they are asked for."""
        self._known += known
        self._number.append(len(known))
        self._states += [states[var] for var in known]
        self._values += values
        self.visits += 1

    def named(self, var: int) -> tuple[NDArray[np.int32], list[str]]:
        """Return the number of the value of a variable at each visit, -1 where it is not known, and the values."""
        visits, places = self._places(var)
        found = [self._values[k] for k in places]
        place = {value: code for code, value in enumerate(dict.fromkeys(found))}
        codes = np.full(self.visits, -1, np.int32)
        codes[visits] = [*map(place.__getitem__, found)]
        return codes, [*place]

    def _places(self, var: int) -> tuple[NDArray[np.int64], list[int]]:
        """Return the visits of which a variable is known, and the places of what is known of it there."""
        order, visits, ends = self._by_variable
        there = order[ends[var] : ends[var + 1]]
        return visits[there], there.tolist()

    @cached_property
    def _by_variable(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """The places of all that is known by variable, the visit at each place, and where each variable ends."""
        known = np.array(self._known, np.int64)
        visits = np.repeat(np.arange(self.visits), self._number)
        numbers = np.bincount(known, minlength=len(self._full))
        return np.argsort(known, kind="stable"), visits, np.concatenate([[0], np.cumsum(numbers)])

    def coded(self, var: int) -> Coded:
        """Return a variable in codes that go up with the states; no visit is added after this."""
        made = self._coded.get(var)
        if made is None:
            made = self._coded[var] = self._in_codes(var)
        return made

    def _in_codes(self, var: int) -> Coded:
        visits, places = self._places(var)
        found, full = [self._states[k] for k in places], self._full[var]
        states = tuple(sorted({full, *found}))
        place = {state: code for code, state in enumerate(states)}
        codes = np.full(self.visits, place[full], dtype_for(len(states)))
        codes[visits] = [*map(place.__getitem__, found)]
        return Coded(codes, states)


def read_known(reader: PlanesReader, known: KnownStates) -> CohortReading:
    """Return what became of visits by what is known of them."""
    maker = PlaneMaker(reader, known.visits)
    return reader.read(maker.planes({var: known.coded(var) for var in reader.asked}, known.visits), known.visits)


def concluded(reading: CohortReading, var: int) -> Coded:
    """Return the states of a conclusion at each visit."""
    may_not, may = (bits(plane, reading.visits) for plane in reading.conclusions[var])
    return Coded(may_not * np.uint8(NO) + may * np.uint8(YES) - np.uint8(1), (NO, YES, NO | YES))


def dtype_for(states: int) -> type[np.unsignedinteger[Any]]:
    """Return the least type that holds the codes of so many states."""
    return np.uint8 if states <= 1 << 8 else np.uint16 if states <= 1 << 16 else np.uint32


class PlaneMaker:
    """Makes the planes that a reader asks, block after block, in the same memory."""

    def __init__(self, reader: PlanesReader, most: int = BLOCK) -> None:
        """Make planes for ``reader``, of so many visits at ``most``."""
        self._asked = reader.asked
        words = words_for(most)
        self._flags = np.empty((_TOGETHER, 64 * words), np.bool_)
        made = iter(np.empty((sum(map(len, self._asked.values())), words), np.uint64))
        self._planes = {var: [next(made) for _ in tests] for var, tests in self._asked.items()}

    def planes(self, coded: Mapping[int, Coded], visits: int) -> Planes:
        """Return the planes of some visits; they hold until the next are asked for."""
        words = words_for(visits)
        made = {var: [plane[:words] for plane in self._planes[var]] for var in self._asked if var in coded}
        for var, planes in made.items():
            self._fill(coded[var], self._asked[var], planes, words)
        return made

    def _fill(self, coded: Coded, tests: tuple[Asked, ...], planes: Sequence[Plane], words: int) -> None:
        recipe = _recipe(coded.states, tests)
        upward = self._from_limits_up(coded.codes, recipe.limits, words)
        known = coded.known
        unknown = None if known is None else ~known
        for test, parts, plane in zip(tests, recipe.parts, planes, strict=True):
            held = _difference([upward[k] for k in parts], plane)
            if known is None or unknown is None:
                plane[:] = held
            elif test.must:
                np.bitwise_and(held, known, out=plane)
            else:
                np.bitwise_or(held, unknown, out=plane)

    def _from_limits_up(
        self, codes: NDArray[np.unsignedinteger[Any]], limits: Sequence[int], words: int
    ) -> list[Plane]:
        upward: list[Plane] = []
        for first in range(0, len(limits), _TOGETHER):
            some = np.array(limits[first : first + _TOGETHER], codes.dtype)
            flags = self._flags[: len(some)]
            np.greater_equal(codes, some[:, None], out=flags[:, : len(codes)])
            packed = np.packbits(flags[:, : 64 * words], axis=1, bitorder="little")
            upward += list(packed.view("<u8").astype(np.uint64, copy=False))
        return upward


def _difference(parts: Sequence[Plane], plane: Plane) -> Plane:
    """Return what is in an odd number of parts, written into ``plane`` where it is not a part itself."""
    if len(parts) == 1:
        return parts[0]
    if not parts:
        plane[:] = 0
    for k, part in enumerate(parts[1:]):
        np.bitwise_xor(plane if k else parts[0], part, out=plane)
    return plane


class _Recipe(NamedTuple):
    """How the planes of a variable are made: of codes from each limit up, ``parts`` says which make up each test."""

    limits: tuple[int, ...]
    parts: tuple[tuple[int, ...], ...]


@lru_cache(maxsize=_KEPT)
def _recipe(states: tuple[State, ...], tests: tuple[Asked, ...]) -> _Recipe:
    limits: dict[int, int] = {}
    parts = []
    for test in tests:
        held = [False, *(test.holds(state) for state in states)]
        turns = [code for code in range(len(states)) if held[code] != held[code + 1]]
        parts.append(tuple(limits.setdefault(code, len(limits)) for code in turns))
    return _Recipe(tuple(limits), tuple(parts))
