"""Which status each rule has at each visit of a cohort, and how often in each group, by bit planes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from layette.engine.logic.planes import CohortReading, PlanesReader, bits
from layette.engine.pack.compiled import CompiledPack

CODES = ("not applicable", "ruled out", "undecided", "provisional", "fired")
"""What became of a rule as it is written, by its code."""
SURELY = 8
"""Added to a code where the rule surely is for this newborn."""
COUNTED = ("visits", "eligible", "may_be_eligible", "fired", "provisional", "undecided", "ruled_out", "not_applicable")
"""What `tally` counts of each rule in each group; the last five add up to ``visits``."""


def statuses_of(reading: CohortReading) -> NDArray[np.uint8]:
    """Return the status of each rule (a row) at each visit, as its place in `STATUSES`."""
    made = np.empty((len(reading.high), reading.visits), np.uint8)
    for rule, row in enumerate(made):
        row[:] = reading.codes(rule)
    return made


def differing(found: NDArray[np.uint8], statuses: Sequence[bytes | bytearray]) -> list[tuple[int, int]]:
    """Return where planes (`statuses_of`) and the reader of one visit give different answers, as visit and rule.

    ``statuses`` are those of each visit by the one (`NativeReader.read_codes`).
    """
    wanted = np.frombuffer(b"".join(statuses), np.uint8).reshape(found.T.shape)
    return [(int(v), int(r)) for v, r in np.argwhere(wanted != found.T)]


class RuleCodes:
    """The rules of a pack as they are written: each has the strongest status of its sides and rows."""

    def __init__(self, pack: CompiledPack, reader: PlanesReader | None = None) -> None:
        """Lay out the rules of ``pack``."""
        self.reader = reader or PlanesReader(pack.program)
        parts: dict[str, list[int]] = {}
        for number, instance in enumerate(pack.instances):
            parts.setdefault(instance.rule.shape.id, []).append(number)
        self.rules: Mapping[str, tuple[int, ...]] = {name: tuple(numbers) for name, numbers in parts.items()}

    def of(self, reading: CohortReading) -> NDArray[np.uint8]:
        """Return the code of each rule (a row) at each visit."""
        out = np.empty((len(self.rules), reading.visits), np.uint8)
        for row, numbers in enumerate(self.rules.values()):
            out[row] = _codes(reading, list(numbers))
        return out


def _codes(reading: CohortReading, rows: list[int]) -> NDArray[np.uint8]:
    high, low, may, applies = (
        np.array([reading.planes[numbers[row]] for row in rows])
        for numbers in (reading.high, reading.low, reading.may_apply, reading.applies)
    )
    found = [may, low & ~high, high & ~low, high & low]
    made = np.zeros(reading.visits, np.uint8)
    for code, planes in enumerate(found, 1):
        made = np.maximum(made, bits(np.bitwise_or.reduce(planes), reading.visits) * np.uint8(code))
    return made + bits(np.bitwise_or.reduce(applies), reading.visits) * np.uint8(SURELY)


def tally(codes: NDArray[np.uint8], groups: NDArray[np.int64], number: int) -> NDArray[np.int64]:
    """Return what is `COUNTED` of one rule in each of ``number`` groups, a row a group.

    ``codes`` and ``groups`` (from 0) are those of each visit.
    """
    width = 2 * SURELY
    cells = np.bincount(groups * width + codes, minlength=number * width).reshape(number, width)
    by_code = cells[:, :SURELY] + cells[:, SURELY:]
    visits, sure = cells.sum(axis=1), cells[:, SURELY:].sum(axis=1)
    none, ruled_out, undecided, provisional, fired = (by_code[:, code] for code in range(len(CODES)))
    return np.stack([visits, sure, visits - none, fired, provisional, undecided, ruled_out, none], axis=1)
