"""What one view sees of the recordings: the state of one variable, where a plain latest value is not all that is asked.

The latest value itself, by far the most frequent look, is filled by `engine.facts` at once for all findings.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import NamedTuple

from layette.engine.exact.ranges import Range
from layette.engine.logic.conditions import State
from layette.engine.logic.program import NO, YES
from layette.engine.pack.written.shapes import FindingShape
from layette.engine.pack.written.views import NA, Entry, VariableTable, View, run
from layette.engine.states.inputs import NewbornAges, elapsed
from layette.engine.visit.recordings import NOTHING, Chosen, Readings
from layette.engine.visit.visit import Recorded

NOT_APPLICABLE = "not-applicable"


class _Events(NamedTuple):
    """What was told of one finding's events: each value, and whether it surely counts; whether one of them did."""

    events: frozenset[str]
    told: list[tuple[bool, frozenset[str]]]
    surely: bool
    possibly: bool
    latest: frozenset[str] | None


class ViewReader:
    """The looks at the recordings of one visit."""

    def __init__(
        self, readings: Readings, table: VariableTable, findings: Mapping[str, FindingShape], clock: NewbornAges
    ) -> None:
        """Look at ``readings``; ``clock`` tells ages."""
        self.readings = readings
        self.table = table
        self.findings = findings
        self.clock = clock
        self._events: dict[tuple[str, str, int | None], _Events] = {}

    def state(self, var: int, entry: Entry, before: State) -> State:
        """Return what is left of a variable of a finding, of which ``before`` was left until now."""
        view = entry.view
        if entry.kind == "flag":
            if before == NO:
                return NO
            return NO if self._does_not_apply(view) else self._flag(view, before)
        if before == NA:
            return NA
        used = self.used(view)
        if used is not None and used.possible is None:
            if used.absent == NOT_APPLICABLE:
                return NA
            used = None
        if view.pick in ("highest", "lowest") and view.what == "value" and not view.qualifier:
            known = self._extreme(var, view)
        else:
            known = None if used is None else self._state_of(var, view, used)
        if known is None:
            return before
        return known | (before & NA) if self.findings[view.subject].applies_when else known

    def _does_not_apply(self, view: View) -> bool:
        used = None if view.what == "unequal" else self.readings.used(view.subject, view.side)
        return used is not None and used.possible is None and used.absent == NOT_APPLICABLE

    def _flag(self, view: View, before: State) -> State:
        if view.what == "unequal":
            return self._unequal(view)
        if view.what == "among":
            return self._among(view)
        if view.pick in ("any", "highest", "lowest"):
            return YES if self.readings.within(view.subject, view.side, view.over)[0] else before
        used = self.used(view)
        return before if used is None or used.possible is None else YES

    def used(self, view: View) -> Recorded | None:
        """Return the recording that a view looks at, without the reasons."""
        if view.attempt:
            return self._attempt(view)
        if view.pick == "latest":
            return self.readings.used(view.subject, view.side)
        if view.pick == "earlier" and not self._told_before(view):
            return None
        return self.chosen(view).used

    def _told_before(self, view: View) -> bool:
        """Whether another visit recorded something of what a view looks at."""
        listed = self.readings.by_place.get((view.subject, view.side), ())
        return self.readings.has_earlier and not all(one.here for one in listed)

    def _attempt(self, view: View) -> Recorded | None:
        attempts = self.readings.attempts(view.subject)
        return attempts[view.attempt - 1].get(view.part) if view.attempt <= len(attempts) else None

    def chosen(self, view: View) -> Chosen:
        """Return the recording that a view looks at."""
        name, side = view.subject, view.side
        if view.attempt:
            return Chosen(self._attempt(view))
        if view.pick == "earlier":
            return self.readings.earlier(name, side)
        if view.pick in ("highest", "lowest") and view.what != "value":
            return self._extreme_reading(view)
        return self.readings.latest(name, side)

    def _extreme_reading(self, view: View) -> Chosen:
        _, possibly = self.readings.within(view.subject, view.side, view.over)
        numbers = [r for r in possibly if isinstance(r.possible, Range) and r.possible.exact]
        if not numbers:
            return NOTHING
        return Chosen((max if view.pick == "highest" else min)(numbers, key=_number))

    def _state_of(self, var: int, view: View, reading: Recorded) -> State | None:
        if view.qualifier:
            named = [value for key, value in reading.qualifiers if key == view.qualifier]
            return self.table.values_mask(var, named) if named else None
        if view.what == "age":
            return self.table.interval_state(var, self.clock.hours(reading.time))
        if view.what == "since":
            return self.table.interval_state(var, elapsed(reading.time, self.readings.visit.at))
        return None if reading.possible is None else self.table.state(var, reading.possible)

    def _extreme(self, var: int, view: View) -> State | None:
        """Return the cells of the highest or lowest value of a span of time.

        The highest is as high as any that may count can be, and no lower than the highest that surely counts must be.
        """
        surely, possibly = self.readings.within(view.subject, view.side, view.over)
        inside = self._numbers(var, surely)
        perhaps = inside if len(surely) == len(possibly) else self._numbers(var, possibly)
        if not perhaps or (not inside and view.over is not None):
            return None
        if len(inside) == len(perhaps) == 1:
            return perhaps[0]
        if view.pick == "highest":
            return run(max(map(_first, inside), default=1), max(map(_last, perhaps)))
        return run(min(map(_first, perhaps)), min(map(_last, inside), default=self.table.last_cell(var)))

    def _numbers(self, var: int, readings: list[Recorded]) -> list[State]:
        return [self.table.range_state(var, r.possible) for r in readings if isinstance(r.possible, Range)]

    def _unequal(self, view: View) -> State:
        sides = self.findings[view.subject].sides or ()
        found = [self.readings.value(view.subject, side) for side in sides]
        sets = [r.possible if r else None for r in found]
        known = [s for s in sets if isinstance(s, frozenset)]
        if len(known) < len(sets):
            return NO | YES
        equal_possible = bool(frozenset.intersection(*known))
        equal_sure = all(len(s) == 1 for s in known) and len(frozenset.union(*known)) == 1
        return (NO if equal_possible else 0) | (0 if equal_sure else YES)

    def _among(self, view: View) -> State:
        accept = frozenset(view.accept)
        if view.pick == "event":
            return self._event(view, accept)
        surely, possibly = self.readings.within(view.subject, view.side, view.over)
        sets = _told(surely, possibly)
        if not any(sure for sure, _ in sets):
            return NO | YES
        if view.pick == "every":
            must = all(s <= accept for _, s in sets)
            may = all(s & accept for sure, s in sets if sure)
        else:
            must = any(s <= accept for sure, s in sets if sure)
            may = any(s & accept for _, s in sets)
        return YES if must else (NO | YES if may else NO)

    def _event(self, view: View, accept: frozenset[str]) -> State:
        """An event of this visit's last day counts whatever came later; where there was none, the latest value counts.

        Danger law 11: "none" does not erase "seen".
        """
        place = (view.subject, view.side, view.over)
        seen = self._events.get(place)
        if seen is None:
            seen = self._events[place] = self._events_of(view)
        asked, latest = accept & seen.events, seen.latest
        must = any(sure and values <= asked for sure, values in seen.told)
        must = must or (not seen.possibly and latest is not None and latest <= accept)
        if must:
            return YES
        may = any(values & asked for _, values in seen.told)
        may = may or (not seen.surely and (latest is None or bool(latest & accept)))
        return NO | YES if may else NO

    def _events_of(self, view: View) -> _Events:
        """Return what was told of a finding's events; many tests look at them.

        What says the same as another recording, less exactly, is no event of its own.
        """
        surely, possibly = self.readings.within(view.subject, view.side, view.over)
        events = frozenset(self.findings[view.subject].event)
        used = self.readings.value(view.subject, view.side)
        latest = used.possible if used is not None and isinstance(used.possible, frozenset) else None
        here = _told(surely, [r for r in possibly if r.here])
        told = [(sure, values) for sure, values in here if not any(finer < values for _, finer in here)]
        event_surely = any(sure and values <= events for sure, values in told)
        event_possibly = any(values & events for _, values in told)
        return _Events(events, told, event_surely, event_possibly, latest)


def _told(surely: list[Recorded], possibly: list[Recorded]) -> list[tuple[bool, frozenset[str]]]:
    """Return what was said of those that may count, each once: whether it surely counts, and the values."""
    sure = {id(reading) for reading in surely}
    return [*dict.fromkeys((id(r) in sure, r.possible) for r in possibly if isinstance(r.possible, frozenset))]


def _first(state: State) -> int:
    """Return the lowest atom of a state."""
    return (state & -state).bit_length() - 1


def _last(state: State) -> int:
    """Return the highest atom of a state."""
    return state.bit_length() - 1


def _number(reading: Recorded) -> Fraction:
    assert isinstance(reading.possible, Range)
    assert reading.possible.lo is not None
    return reading.possible.lo
