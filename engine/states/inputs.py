"""What a measure is given of a visit, and what it gives: values with their times and recordings, ages, results.

`engine.measures` knows numbers alone; `states.measures` takes them from here to its functions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple, Protocol

from layette.engine.exact.arithmetic import scale
from layette.engine.exact.interval import NOTHING_KNOWN, Interval, Ratio, Span
from layette.engine.exact.times import Moment, day_number
from layette.engine.exact.units import convert, factor
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


class NewbornAges:
    """The ages of one newborn at the moments of a visit, each computed once."""

    def __init__(self, visit: Visit) -> None:
        """Count from the birth that ``visit`` tells."""
        self.visit = visit
        self._born = self._days_of(visit.born)
        self._hours: dict[tuple[int, int], Interval] = {}
        self._days: dict[tuple[int, int], Interval] = {}

    def hours(self, at: Moment) -> Interval:
        """Return the age in hours at a moment."""
        key = (at.lo, at.hi)
        found = self._hours.get(key)
        if found is None:
            found = self._hours[key] = elapsed(self.visit.born, at)
        return found

    def days(self, at: Moment) -> Interval:
        """Return the age in calendar days at a moment.

        As `ages.age_days` gives it, but straight from the whole days of one visit.
        """
        key = (at.lo, at.hi)
        found = self._days.get(key)
        if found is None:
            (first, last), (born_first, born_last) = self._days_of(at), self._born
            lo = Ratio(first - born_last, 1)
            exact = first == last and born_first == born_last
            found = self._days[key] = Interval(lo, lo if exact else Ratio(last - born_first, 1))
        return found

    def _days_of(self, moment: Moment) -> tuple[int, int]:
        """Return the ordinals of the first and the last calendar day on which a moment may lie."""
        first = day_number(moment.lo, self.visit.zone)
        return first, first if moment.exact else day_number(moment.hi, self.visit.zone)


class MeasureInputs(Protocol):
    """What a measure can be given of a visit."""

    visit: Visit
    clock: NewbornAges

    def number(self, name: str) -> Value | None:
        """Return the value of a finding (a view in dots is allowed) or measure; None where there is none."""
        ...

    def timed(self, name: str) -> Value | None:
        """Return what `number` does, and of a named value its time alone, as a number that nothing is known of."""
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


Parameters = Mapping[str, Any]
"""What the pack wrote for a measure: key and value."""
Compute = Callable[[MeasureInputs, Parameters], Result]


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
