"""The highest or lowest of several readings, some of them uncertain: every answer that could be, and no wider ends."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from types import SimpleNamespace
from typing import Any, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layette.engine.exact.ranges import Range
from layette.engine.pack.written.views import VariableTable, View, cell
from layette.engine.states.looks import ViewReader
from layette.engine.visit.recordings import Readings

CUTS = (Fraction(1), Fraction(3))
ENDS = [Fraction(k) for k in range(5)]
GRID = [Fraction(k, 2) for k in range(-1, 10)]
"""Numbers on, between and beyond all ``ENDS``: some in every cell of every range."""


@st.composite
def ranges(draw: st.DrawFn) -> Range:
    """A range that holds a number of the grid, closed, open or unbounded at either end."""
    low, high = sorted(draw(st.tuples(st.sampled_from(ENDS), st.sampled_from(ENDS))))
    if high == low:
        return Range(low, low)
    lo, hi = draw(st.sampled_from([low, None])), draw(st.sampled_from([high, None]))
    return Range(lo, hi, draw(st.booleans()) and lo is not None, draw(st.booleans()) and hi is not None)


def numbers(found: Range) -> list[Fraction]:
    def inside(x: Fraction) -> bool:
        above = found.lo is None or x > found.lo or (x == found.lo and not found.lo_open)
        return above and (found.hi is None or x < found.hi or (x == found.hi and not found.hi_open))

    return [x for x in GRID if inside(x)]


def read(pick: Any, surely: list[Range], perhaps: list[Range]) -> set[int]:
    """Return the cells that are left of "the highest (lowest) of a day"."""
    view = View("weight", pick=pick, over=86400)
    table = VariableTable()
    var = table.number(view)
    for cut in CUTS:
        table.cells_mask(var, (cut, True), None)
    table.freeze()
    certain, others = ([SimpleNamespace(possible=r) for r in found] for found in (surely, perhaps))
    readings = SimpleNamespace(within=lambda *_: (certain, certain + others), used=lambda *_: certain[0])
    readings.latest = lambda *_: SimpleNamespace(used=certain[0])
    findings: Any = {"weight": SimpleNamespace(applies_when=None)}
    looks = ViewReader(cast("Readings", readings), table, findings, cast("Any", None))
    state = looks.state(var, table.entries[var], (1 << 2 * len(CUTS) + 2) - 1)
    return {k - 1 for k in range(state.bit_length()) if state >> k & 1}


@pytest.mark.parametrize(("pick", "extreme"), [("highest", max), ("lowest", min)])
@settings(deadline=None)
@given(surely=st.lists(ranges(), min_size=1, max_size=2), perhaps=st.lists(ranges(), max_size=1))
def test_an_extreme_holds_every_answer_and_its_ends_are_reached(
    pick: str, extreme: Any, surely: list[Range], perhaps: list[Range]
) -> None:
    choices = [numbers(r) for r in surely] + [[*numbers(r), None] for r in perhaps]
    reached = {cell(CUTS, extreme(x for x in world if x is not None)) for world in product(*choices)}
    found = read(pick, surely, perhaps)
    assert reached <= found
    assert {min(found), max(found)} <= reached
