"""How a measure is bound to findings: from the recordings of a visit to the inputs of a function, and back.

`engine.measures` knows numbers alone; `engine.bound_measures` says of each function what it is given.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

from layette.engine.exact.arithmetic import scale
from layette.engine.exact.interval import NOTHING_KNOWN, Interval, Ratio, Span
from layette.engine.exact.times import Moment, day_number
from layette.engine.exact.units import convert, factor
from layette.engine.measures import ages
from layette.engine.visit.visit import Recorded, Visit


class Value(NamedTuple):
    """A number that a measure is given: what it can be in ``unit``, when, and the recordings behind it."""

    interval: Interval
    unit: str
    time: Moment | None
    used: tuple[Recorded, ...]

    @property
    def span(self) -> Span:
        """The interval's ends in lowest terms."""
        return self.interval.span()


class Result(NamedTuple):
    """What a measure gave: a number in ``unit``, or the categories still possible; ``why_not`` where it could not."""

    interval: Interval = NOTHING_KNOWN
    unit: str = ""
    categories: tuple[str, ...] | None = None
    used: tuple[Recorded, ...] = ()
    time: Moment | None = None
    basis: str = ""
    why_not: str = ""

    @property
    def span(self) -> Span:
        """The number's ends in lowest terms."""
        return self.interval.span()

    @property
    def known(self) -> bool:
        """Whether anything is known of it."""
        return not self.interval.blank or (self.categories is not None and bool(self.used))


HOUR = 3600


def elapsed(earlier: Moment, later: Moment, unit: int = HOUR) -> Interval:
    """Return the time between two moments, in units of so many seconds.

    As `ages.elapsed_hours` and `ages.elapsed_days` give it, but straight from the whole seconds of one visit.
    """
    lo = Ratio(later.lo - earlier.hi, unit)
    return Interval(lo, lo if earlier.exact and later.exact else Ratio(later.hi - earlier.lo, unit))


class Clock:
    """The ages of one newborn at the moments of a visit, each computed once."""

    def __init__(self, visit: Visit) -> None:
        """Count from the birth that ``visit`` tells."""
        self.visit = visit
        self._hours: dict[tuple[int, int], Interval] = {}
        self._days: dict[tuple[int, int], Interval] = {}

    def hours(self, at: Moment) -> Interval:
        """Return the age in hours at a moment; computed once."""
        key = (at.lo, at.hi)
        found = self._hours.get(key)
        if found is None:
            found = self._hours[key] = elapsed(self.visit.born, at)
        return found

    def days(self, at: Moment) -> Interval:
        """Return the age in calendar days at a moment."""
        key = (at.lo, at.hi)
        if key not in self._days:
            self._days[key] = ages.age_days(self._day(at), self._day(self.visit.born))
        return self._days[key]

    def _day(self, moment: Moment) -> Interval:
        first = day_number(moment.lo, self.visit.zone)
        return Interval.one(first, first if moment.exact else day_number(moment.hi, self.visit.zone))


class Sight(Protocol):
    """What a binding can see of a visit."""

    visit: Visit
    clock: Clock

    def number(self, name: str) -> Value | None:
        """Return the value of a finding (a view in dots is allowed) or measure; None where there is none."""
        ...

    def values(self, name: str) -> list[Value]:
        """Return all values of a finding, the latest first."""
        ...

    def flag(self, name: str) -> int:
        """Return 1, 0 or -1 (not known) for a yes-or-no finding or a conclusion."""
        ...

    def table(self, name: str) -> Any:
        """Return a table, or None where it was not supplied."""
        ...

    def setting(self, name: str) -> str:
        """Return the choice of a setting."""
        ...


Given = Mapping[str, Any]
Compute = Callable[[Sight, Given], Result]


@dataclass(frozen=True, slots=True)
class Binding:
    """The inputs that a measure takes in a pack, and how it is computed."""

    compute: Compute
    required: frozenset[str] = frozenset()
    optional: frozenset[str] = frozenset()
    of_findings: frozenset[str] = frozenset()


BINDINGS: dict[str, Binding] = {}


def bind(name: str, *, required: str = "", optional: str = "", findings: str = "") -> Callable[[Compute], Compute]:
    """Register how measure ``name`` is given its inputs; the three lists are words separated by spaces."""

    def register(compute: Compute) -> Compute:
        words = [frozenset(text.split()) for text in (required, optional, findings)]
        BINDINGS[name] = Binding(compute, *words)
        return compute

    return register


def in_unit(value: Value, to: str) -> Interval:
    """Return a value converted into the unit ``to``; without ``to``, as it is."""
    return value.interval if value.unit == to or not to else converted(value.interval, value.unit, to)


def converted(interval: Interval, unit: str, to: str) -> Interval:
    """Return an interval in another unit; raises `UnitMismatchError`."""
    by = factor(unit, to)
    if by is not None:
        return scale(interval, by)
    low, high = (None if end is None else convert(end, unit, to) for end in interval.span())
    return Interval.one(low, high)
