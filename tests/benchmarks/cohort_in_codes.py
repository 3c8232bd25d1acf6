"""A cohort in codes, for benchmarks: states of the worked cases, drawn anew for each block and made partly unknown.

A block is an Arrow batch with a column a variable, as a reader of Parquet hands one on: a byte a visit, which says the
state by its place among those that the variable ever has, and Arrow's own bits for what is not known.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from layette.engine.api import Pack
from layette.engine.cases.written import read_cases
from layette.engine.cohort.coded import Coded
from layette.engine.logic.planes import BLOCK, plane_of
from layette.engine.states.facts import Facts

FORGOTTEN = 0.1
"""The share of what is known that is taken away again, so that no two blocks are alike."""


def states_of_cases(pack: Pack) -> NDArray[Any]:
    """Return the states of every worked case, a row each."""
    plan, rows = pack.plan.states, []
    for case in read_cases(pack)[0]:
        visit = pack.visit_reader().attempt(case.shape.given)
        if visit is not None:
            rows.append(Facts(plan, visit, {**plan.choices, **visit.settings}).states)
    return np.array(rows, np.uint64)


@dataclass(frozen=True)
class Codes:
    """What a cohort is drawn of: for each variable that varies, the states in order, and the code of each case."""

    states: dict[int, tuple[int, ...]]
    codes: dict[int, NDArray[np.uint8]]

    @classmethod
    def of(cls, pack: Pack) -> Codes:
        """Lay out the worked cases of a pack."""
        states, codes = {}, {}
        for var, column in enumerate(states_of_cases(pack).T):
            known = np.unique(column[column != pack.program.full[var]])
            if var not in pack.program.conclusions and len(known):
                # What is not known has the code past the last state, until a block marks it.
                states[var] = tuple(map(int, known))
                codes[var] = np.searchsorted(known, column).astype(np.uint8)
        return cls(states, codes)

    def blocks(self, visits: int, seed: int = 1) -> Iterator[pa.RecordBatch]:
        """Yield a cohort as blocks of at most `BLOCK` visits, with a column a variable, named by its number."""
        rng = np.random.default_rng(seed)
        for begin in range(0, visits, BLOCK):
            yield self._block(min(BLOCK, visits - begin), rng)

    def _block(self, visits: int, rng: np.random.Generator) -> pa.RecordBatch:
        drawn = rng.integers(0, len(next(iter(self.codes.values()))), visits)
        columns = []
        for var, codes in self.codes.items():
            made = codes[drawn]
            unknown = (made >= len(self.states[var])) | (rng.random(visits, np.float32) < FORGOTTEN)
            made[unknown] = 0
            columns.append(pa.array(made, mask=unknown))
        return pa.RecordBatch.from_arrays(columns, names=[str(var) for var in self.codes])

    def coded(self, block: pa.RecordBatch) -> tuple[dict[int, Coded], int]:
        """Return a block as the planes reader's input, without a copy."""
        columns = zip(self.states.items(), block.columns, strict=True)
        return {var: Coded(_bytes(column), states, _known(column)) for (var, states), column in columns}, len(block)

    def states_at(self, block: pa.RecordBatch, visits: int, full: tuple[int, ...]) -> list[list[int]]:
        """Return the states of the first visits of a block, a row each."""
        rows = [list(full) for _ in range(visits)]
        for (var, states), column in zip(self.states.items(), block.columns, strict=True):
            for row, code in zip(rows, column.slice(0, visits).to_pylist(), strict=True):
                row[var] = full[var] if code is None else states[code]
        return rows


def _bytes(column: pa.Array) -> NDArray[np.uint8]:
    return np.frombuffer(column.buffers()[1], np.uint8, len(column), column.offset)


def _known(column: pa.Array) -> NDArray[np.uint64] | None:
    """Return the bits of what is known: Arrow's own, where they begin and end with a word."""
    bits = column.buffers()[0]
    if bits is None:
        return None
    if column.offset % 64 or len(column) % 64:
        return plane_of(column.is_valid().to_numpy(zero_copy_only=False))
    return np.frombuffer(bits, np.uint64, len(column) // 64, column.offset // 8)
