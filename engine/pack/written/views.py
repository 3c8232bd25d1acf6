"""Views: what a test can look at, and the numbered variables that they become.

A view is one way of looking at one subject: the left red reflex, the highest temperature of 24 hours,
the time since the earlier weight. Two tests that look at the same thing share one variable. A number's
atoms are the cells between the pack's cut points (each cut point is a cell of its own), so that every
number is compared once, exactly, and readers only ever see sets of cells.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from math import lcm
from typing import Literal

from layette.engine.exact.interval import Interval
from layette.engine.exact.ranges import Possible, Range
from layette.engine.logic.conditions import State
from layette.engine.logic.program import Variable

Kind = Literal["category", "number", "flag"]
Pick = Literal["latest", "highest", "lowest", "earlier", "any", "every", "event"]
What = Literal["value", "age", "since", "recorded", "unequal", "beyond", "among"]

DOES_NOT_APPLY = "does not apply"
NA: State = 1
"""The atom "does not apply", bit 0 of every category and number."""
FLAG_ATOMS = ("no", "yes")


@dataclass(frozen=True, slots=True)
class View:
    """One way of looking at one subject.

    ``subject`` is a finding, measure or conclusion, or ``setting:<id>``. ``pick`` chooses among several
    readings, ``over`` seconds limits how far back. ``what`` is looked at: the value, the age at that
    reading, the time since it, whether it was recorded, a qualifier (``qualifier``); ``beyond`` compares
    with the line of a threshold measure, ``less`` below it; ``among`` asks of each reading whether it is
    in ``accept``.
    """

    subject: str
    side: str = ""
    attempt: int = 0
    part: str = ""
    pick: Pick = "latest"
    over: int | None = None
    what: What = "value"
    qualifier: str = ""
    accept: tuple[str, ...] = ()
    line: str = ""
    less: Fraction = Fraction(0)

    @property
    def key(self) -> str:
        """A readable name, unique to the view."""
        out = self.subject
        out += f".{self.side}" if self.side else ""
        out += f".{self.attempt}" if self.attempt else ""
        out += f".{self.part}" if self.part else ""
        out += f".{self.pick}" if self.pick != "latest" else ""
        out += f"[{self.over} s]" if self.over is not None else ""
        out += f".{self.what}" if self.what != "value" else ""
        out += f".{self.qualifier}" if self.qualifier else ""
        out += f"{{{','.join(self.accept)}}}" if self.accept else ""
        out += f"({self.line} less {self.less})" if self.line else ""
        return out


@dataclass
class Entry:
    """A variable in the making: its view, its kind, its values or cut points."""

    view: View
    kind: Kind
    values: tuple[str, ...] = ()
    cuts: set[Fraction] = field(default_factory=set)

    @cached_property
    def masks(self) -> dict[str, int]:
        """The atom of each named value, as a mask."""
        base = 0 if self.kind == "flag" else 1
        return {name: 1 << (base + k) for k, name in enumerate(self.values)}


class VariableTable:
    """The variables of a pack. Cut points gather while conditions are read; `freeze` fixes the cells."""

    def __init__(self) -> None:
        """Start empty."""
        self.entries: list[Entry] = []
        self._index: dict[View, int] = {}
        self._cuts: list[tuple[Fraction, ...]] | None = None
        self._whole: list[tuple[int, tuple[int, ...]]] = []
        self._sets: list[dict[frozenset[str], int]] = []

    def number(self, view: View) -> int:
        """Return the variable of a numeric view."""
        return self._at(view, "number", ())

    def category(self, view: View, values: Iterable[str]) -> int:
        """Return the variable of a view with named values."""
        return self._at(view, "category", tuple(values))

    def flag(self, view: View) -> int:
        """Return the variable of a yes-or-no view."""
        return self._at(view, "flag", FLAG_ATOMS)

    def _at(self, view: View, kind: Kind, values: tuple[str, ...]) -> int:
        if view not in self._index:
            assert self._cuts is None, f"{view.key} is new after the cut points were fixed"
            self._index[view] = len(self.entries)
            self.entries.append(Entry(view, kind, values))
        return self._index[view]

    def find(self, view: View) -> int | None:
        """Return the variable of ``view`` if some test looks at it."""
        return self._index.get(view)

    def values_mask(self, var: int, names: Iterable[str]) -> int:
        """Return the mask of named values; an unknown name raises KeyError."""
        masks = self.entries[var].masks
        out = 0
        for name in names:
            out |= masks[name]
        return out

    def cells_mask(self, var: int, lo: tuple[Fraction, bool] | None, hi: tuple[Fraction, bool] | None) -> int:
        """Return the mask of the cells from ``lo`` to ``hi``: (bound, whether the bound itself counts).

        Before `freeze` the bounds are remembered as cut points and the mask is 0.
        """
        bounds = [b for b in (lo, hi) if b is not None]
        if self._cuts is None:
            self.entries[var].cuts.update(value for value, _ in bounds)
            return 0
        cuts = self._cuts[var]
        first = 0 if lo is None else cell(cuts, lo[0]) + (0 if lo[1] else 1)
        last = 2 * len(cuts) if hi is None else cell(cuts, hi[0]) - (0 if hi[1] else 1)
        return run(first, last) << 1

    def freeze(self) -> None:
        """Fix the cut points; from here on masks are final."""
        self._cuts = [tuple(sorted(entry.cuts)) for entry in self.entries]
        self._whole = [_whole(cuts) for cuts in self._cuts]
        self._sets = [{} for _ in self.entries]

    def state(self, var: int, possible: Possible) -> State:
        """Return what a recording that can be ``possible`` leaves of a variable."""
        if isinstance(possible, Range):
            return self.range_state(var, possible)
        known = self._sets[var].get(possible)
        if known is None:
            known = self._sets[var][possible] = self.values_mask(var, possible)
        return known

    def range_state(self, var: int, found: Range) -> State:
        """Return the cells that a range of numbers reaches; an open end does not reach its own cut point."""
        lo, hi = found.lo, found.hi
        if lo is not None and lo is hi:
            return 2 << self.place(var, lo.numerator, lo.denominator)
        first = 0 if lo is None else self.place(var, lo.numerator, lo.denominator)
        last = self.last_cell(var) - 1 if hi is None else self.place(var, hi.numerator, hi.denominator)
        first += 1 if found.lo_open and first % 2 else 0
        last -= 1 if found.hi_open and last % 2 else 0
        return run(first, last) << 1

    def interval_state(self, var: int, found: Interval) -> State:
        """Return the cells that a measure of one visit reaches."""
        low, high = found
        if low is high:
            return 2 << self.place(var, int(low.num), int(low.den))
        first = self.place(var, int(low.num), int(low.den)) if low.den else 0
        last = self.place(var, int(high.num), int(high.den)) if high.den else self.last_cell(var) - 1
        return run(first, last) << 1

    def place(self, var: int, num: int, den: int) -> int:
        """Return the cell of ``num / den`` in a numeric variable: as `cell`, by whole numbers alone."""
        scale, cuts = self._whole[var]
        steps, rest = divmod(num * scale, den)
        if rest:
            return 2 * bisect_right(cuts, steps)
        k = bisect_left(cuts, steps)
        return 2 * k + 1 if k < len(cuts) and cuts[k] == steps else 2 * k

    def last_cell(self, var: int) -> int:
        """Return the atom of the highest cell of a numeric variable."""
        return 2 * len(self._whole[var][1]) + 1

    def cuts(self, var: int) -> tuple[Fraction, ...]:
        """Return the cut points of a numeric variable, ascending."""
        assert self._cuts is not None
        return self._cuts[var]

    def variables(self) -> tuple[Variable, ...]:
        """Return the finished variables, in number order."""
        return tuple(self._variable(k) for k in range(len(self.entries)))

    def _variable(self, var: int) -> Variable:
        entry = self.entries[var]
        if entry.kind == "flag":
            return Variable(entry.view.key, FLAG_ATOMS, ordered=False)
        if entry.kind == "category":
            return Variable(entry.view.key, (DOES_NOT_APPLY, *entry.values), ordered=False)
        return Variable(entry.view.key, (DOES_NOT_APPLY, *cell_names(self.cuts(var))), ordered=True)


def _whole(cuts: tuple[Fraction, ...]) -> tuple[int, tuple[int, ...]]:
    """Return a scale under which all cut points are whole numbers, and these numbers."""
    scale = lcm(*(cut.denominator for cut in cuts)) if cuts else 1
    return scale, tuple(int(cut * scale) for cut in cuts)


def cell(cuts: tuple[Fraction, ...], value: Fraction) -> int:
    """Return the cell of ``value``: 2k for between cut k-1 and k, 2k+1 for exactly cut k."""
    k = bisect_left(cuts, value)
    return 2 * k + 1 if k < len(cuts) and cuts[k] == value else 2 * k


def run(first: int, last: int) -> int:
    """Return the mask of the cells first..last, empty where last < first."""
    return ((1 << (last - first + 1)) - 1) << first if last >= first else 0


def cell_names(cuts: tuple[Fraction, ...]) -> tuple[str, ...]:
    """Name each cell for people: below the first cut, exactly it, between it and the next, and so on."""
    if not cuts:
        return ("any number",)
    names = [f"below {show(cuts[0])}"]
    for here, after in zip(cuts, (*cuts[1:], None), strict=True):
        names.append(f"exactly {show(here)}")
        names.append(f"over {show(here)}" if after is None else f"{show(here)} to {show(after)}")
    return tuple(names)


def show(value: Fraction) -> str:
    """Print an exact number as people write it."""
    return str(value.numerator) if value.denominator == 1 else f"{float(value):g}"
