"""What is known of each view at a visit as a value in text: cells are cut out of it by whichever pack counts.

A value is exact: a whole number or a fraction, a range of these, or the names of all that is still possible. So a pack
with other limits counts from the same values, and only a view that it asks anew, or means otherwise, wants reading.

    38.4 Cel    "192/5"          0 to 5      "[0;5]"        over 20     "(20;)"      any number   "(;)"
    dull        "dull"           one of two  "dull|white"   not applicable "-"       or not       "~192/5", "-|dull"
"""

from __future__ import annotations

import copy
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import compress
from math import gcd
from operator import ne

from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.exact.interval import Interval, Ratio
from layette.engine.exact.ranges import Range
from layette.engine.logic.conditions import State
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.views import NA, Entry, VariableTable
from layette.engine.states.facts import Facts
from layette.engine.states.plan import StatesPlan
from layette.engine.visit.visit import Visit

ANY = Range(None, None)
_NOT_APPLICABLE = "-"
_PERHAPS = "~"
_KEPT = 5_000
"""Values of each variable whose states are remembered."""


class _Seen(threading.local):
    """The numbers of the visit that a thread reads, by variable."""

    def __init__(self) -> None:
        self.numbers: dict[int, Range | Interval] = {}


class WatchedTable(VariableTable):
    """A table of variables that keeps the numbers of which it was asked the cells."""

    seen: _Seen

    def range_state(self, var: int, found: Range) -> State:
        """Return the cells of a range, and keep it."""
        self.seen.numbers[var] = found
        return super().range_state(var, found)

    def interval_state(self, var: int, found: Interval) -> State:
        """Return the cells of a measure, and keep it."""
        self.seen.numbers[var] = found
        return super().interval_state(var, found)


@dataclass(frozen=True)
class Valued:
    """One visit: its facts, the states before rules are read, and the values of the variables that are ``known``.

    ``whole``: some value does not say all that is known; the visit is counted by the code of one visit.
    """

    facts: Facts
    given: tuple[State, ...]
    known: tuple[int, ...]
    values: tuple[str, ...]
    whole: bool


class ValueReader:
    """Reads the values of visits through one pack, those of views that none of its rules asks for too."""

    def __init__(self, pack: CompiledPack) -> None:
        """Watch the variables of ``pack``."""
        self.table = copy.copy(pack.table)
        self.table.__class__ = WatchedTable
        assert isinstance(self.table, WatchedTable)
        self.table.seen = _Seen()
        self.pack = replace(pack, compiled=replace(pack.compiled, table=self.table))
        self._full = pack.program.full
        self._variables = range(len(self._full))
        self._named: list[dict[State, tuple[str, bool]]] = [{} for _ in self.table.entries]
        self._states: list[dict[str, State | None]] = [{} for _ in self.table.entries]

    @cached_property
    def plan(self) -> AnswerPlan:
        """The pack, laid out with all its variables."""
        return AnswerPlan(StatesPlan(self.pack, everything=True))

    def read(self, visit: Visit) -> Valued:
        """Return what is known of every variable at a visit."""
        assert isinstance(self.table, WatchedTable)
        seen: dict[int, Range | Interval] = {}
        self.table.seen.numbers = seen
        facts = Facts(self.plan.states, visit, {**self.plan.states.choices, **visit.settings})
        given, self.table.seen.numbers = tuple(facts.states), {}
        whole, named, values = bool(visit.settings), self._named, []
        known = tuple(compress(self._variables, map(ne, given, self._full)))
        for var in known:
            value, exact = named[var].get(given[var]) or self._value(var, given[var], seen, facts)
            values.append(value)
            whole = whole or not exact
        return Valued(facts, given, known, tuple(values), whole)

    def _state_of(self, var: int, value: str) -> State | None:
        """Return `state_of` a value, remembered: most values of most visits were seen before."""
        known = self._states[var]
        if value not in known:
            if len(known) >= _KEPT:
                known.clear()
            known[value] = state_of(value, var, self.pack)
        return known[value]

    def _value(self, var: int, state: State, seen: Mapping[int, Range | Interval], facts: Facts) -> tuple[str, bool]:
        """Return a value, and whether it says all that is known; names are remembered."""
        entry = self.table.entries[var]
        if entry.kind != "number" or state == NA:
            value = _NOT_APPLICABLE if entry.kind == "number" else _joined(entry, state)
            made = self._named[var][state] = value, self._state_of(var, value) == state
            return made
        view, found = entry.view, seen.get(var, ANY)
        if view.pick in ("highest", "lowest") and view.what == "value" and not view.qualifier:
            found = _extreme(entry, facts)
        value = (_PERHAPS if state & NA else "") + (_measured(found) if isinstance(found, Interval) else written(found))
        return value, self._state_of(var, value) == state


def _joined(entry: Entry, state: State) -> str:
    return "|".join(name for k, name in enumerate(_names(entry)) if state >> k & 1)


def _names(entry: Entry) -> Sequence[str]:
    return entry.values if entry.kind == "flag" else (_NOT_APPLICABLE, *entry.values)


def _extreme(entry: Entry, facts: Facts) -> Range:
    """Return the highest (or lowest) of a span of time: no lower than what surely counts, as high as any may be."""
    view = entry.view
    surely, possibly = facts.readings.within(view.subject, view.side, view.over)
    only = possibly[0].possible if len(surely) == len(possibly) == 1 else None
    if isinstance(only, Range):
        return only
    inside, perhaps = ([r.possible for r in some if isinstance(r.possible, Range)] for some in (surely, possibly))
    if view.pick == "lowest":
        return _mirrored(_highest([*map(_mirrored, inside)], [*map(_mirrored, perhaps)]))
    return _highest(inside, perhaps)


def _highest(inside: Sequence[Range], perhaps: Sequence[Range]) -> Range:
    low = max((r for r in inside if r.lo is not None), key=lambda r: (r.lo, r.lo_open), default=ANY)
    open_end = next((r for r in perhaps if r.hi is None), None)
    high = open_end or max(perhaps, key=lambda r: (r.hi, not r.hi_open), default=ANY)
    return Range(low.lo, high.hi, low.lo_open, high.hi_open)


def _mirrored(found: Range) -> Range:
    low, high = (None if end is None else -end for end in (found.hi, found.lo))
    return Range(low, high, found.hi_open, found.lo_open)


def written(found: Range) -> str:
    """Write a range of numbers."""
    if found.exact:
        return str(found.lo)
    low, high = ("" if end is None else str(end) for end in (found.lo, found.hi))
    begin, end = "(" if found.lo_open or not low else "[", ")" if found.hi_open or not high else "]"
    return f"{begin}{low};{high}{end}"


def _measured(found: Interval) -> str:
    """Write what a measure gives."""
    low, high = found
    if low is high or (low.num * high.den == high.num * low.den and low.den and high.den):
        return _ratio(low)
    return f"{'[' if low.den else '('}{_ratio(low)};{_ratio(high)}{']' if high.den else ')'}"


def _ratio(end: Ratio) -> str:
    """Write an end in lowest terms, as a fraction is written; nothing for an open one."""
    num, den = int(end.num), int(end.den)
    if not den:
        return ""
    by = gcd(num, den)
    return str(num // by) if by == den else f"{num // by}/{den // by}"


def number(text: str) -> Range:
    """Read a range of numbers. Raises ValueError."""
    if ";" not in text:
        exact = Fraction(text)
        return Range(exact, exact)
    low, high = (Fraction(end) if end else None for end in text[1:-1].split(";"))
    return Range(low, high, bool(low is not None and text[0] == "("), bool(high is not None and text[-1] == ")"))


def state_of(value: str, var: int, pack: CompiledPack) -> State | None:
    """Return the state that a value leaves of a variable of a pack; None where the pack knows no such value."""
    table = pack.table
    entry = table.entries[var]
    if entry.kind != "number":
        place = {name: k for k, name in enumerate(_names(entry))}
        parts = [place.get(name) for name in value.split("|")]
        return None if None in parts else sum(1 << part for part in parts if part is not None)
    if value == _NOT_APPLICABLE:
        return NA
    cells = VariableTable.range_state(table, var, number(value.removeprefix(_PERHAPS)))
    return cells | NA if value.startswith(_PERHAPS) else cells
