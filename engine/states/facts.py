"""From a visit to states: what is still possible for every variable of the pack.

All variables start as unknown; only what was recorded narrows them. A finding that does not apply is known to be
just that, and is never asked for.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from typing import Any

from layette.engine.exact.interval import NOTHING_KNOWN, Interval
from layette.engine.exact.ranges import Range
from layette.engine.exact.units import UnitMismatchError, convert
from layette.engine.logic.conditions import State
from layette.engine.logic.program import NO, YES
from layette.engine.measures import thresholds
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.pack.written.subjects import SEX
from layette.engine.pack.written.views import NA, Entry, View
from layette.engine.states.inputs import NewbornAges, Result, Value, converted, in_unit
from layette.engine.states.looks import NOT_APPLICABLE, ViewReader
from layette.engine.states.plan import StatesPlan
from layette.engine.visit.recordings import Chosen, Readings, Where
from layette.engine.visit.visit import Recorded, Visit

MOST_REMEMBERED = 5_000
PENDING = Result()
"""A measure while it is computed: what asks for itself on the way is not known there."""


class Facts:
    """What one visit says about every variable of a pack; also what measures are computed from (`MeasureInputs`)."""

    def __init__(self, plan: StatesPlan, visit: Visit, settings: Mapping[str, str]) -> None:
        """Look at ``visit`` through the pack of ``plan`` under ``settings``."""
        self.plan = plan
        self.pack = pack = plan.pack
        self.visit = visit
        self.settings = settings
        self.filling = plan.filling(tuple(settings.items()))
        self.readings = Readings(visit, pack.findings)
        self.clock = NewbornAges(visit)
        self.looks = ViewReader(self.readings, pack.table, pack.findings, self.clock)
        self.numbers: dict[str, Value | None] = {}
        self.series: dict[str, list[Value]] = {}
        self.measured: dict[str, Result] = {}
        self.states: list[State] = list(self.filling.states)
        self._fill()

    def _fill(self) -> None:
        in_use = self.readings.in_use
        guarded = {place: used for place, used in in_use.items() if place[0] in self.pack.guards}
        free = {place: used for place, used in in_use.items() if place not in guarded} if guarded else in_use
        self._fill_sex()
        self._fill_measures(self.plan.time_measures)
        self._fill_latest(free)
        self._fill_free(free)
        self._fill_guards()
        self._fill_guarded(guarded)
        self._fill_others(guarded)
        if "observations" in self.visit.complete:
            self._fill_complete()
        self._fill_measures(self._recorded_enough())
        self._fill_beyond(in_use)

    def _fill_sex(self) -> None:
        if self.visit.sex is not None:
            for var, _ in self.plan.variables_of.get(SEX, ()):
                self.states[var] = self.pack.table.values_mask(var, [self.visit.sex])

    def _fill_measures(self, measures: Iterable[tuple[int, Entry]]) -> None:
        for var, entry in measures:
            self.states[var] = self._measure_state(var, entry.view.subject)

    def _fill_latest(self, in_use: Mapping[Where, Recorded | None]) -> None:
        """Fill the variables that look at the latest value of a finding that applies to every newborn."""
        variables, states, table = self.filling.latest, self.states, self.pack.table
        for place, used in in_use.items():
            if used is None or place not in variables:
                continue
            if used.possible is not None:
                for var in variables[place]:
                    states[var] = table.state(var, used.possible)
            elif used.absent == NOT_APPLICABLE:
                for var in variables[place]:
                    states[var] = NA

    def _fill_guarded(self, in_use: Mapping[Where, Recorded | None]) -> None:
        """Fill the same of findings under a guard: while the guard is open, they may still not apply."""
        before = {var: self.states[var] for place in in_use for var in self.filling.latest.get(place, ())}
        self._fill_latest(in_use)
        for var, state in before.items():
            self.states[var] = NA if state == NA else self.states[var] | (state & NA)

    def _recorded_enough(self) -> Iterable[tuple[int, Entry]]:
        """Return the measures of which something may be known: what they need was recorded often enough."""
        often: dict[str, int] = {}
        for (name, _), listed in self.readings.by_place.items():
            often[name] = often[name] + len(listed) if name in often else len(listed)
        found = often.get
        key = tuple([found(name, 0) for name in self.plan.needed])
        known = self.filling.computed.get(key)
        if known is None:
            if len(self.filling.computed) >= MOST_REMEMBERED:
                self.filling.computed.clear()
            known = self.filling.computed[key] = self.filling.with_enough(often, self.plan.needs)
        return known

    def _fill_free(self, places: Iterable[Where]) -> None:
        """Do as `_fill_others` for findings without a guard; what is said once, and now, is remembered."""
        others, remembered, states, look = self.filling.others, self.filling.remembered, self.states, self.looks.state
        for name in dict.fromkeys([name for name, _ in places if name in others]):
            steady, timed = self.filling.by_time[name]
            said = self._said_now(name) if steady else None
            known = remembered.get(said)
            if known is not None:
                for var, state in known:
                    states[var] = state
            else:
                for var, entry in steady:
                    states[var] = look(var, entry, states[var])
                if said is not None:
                    if len(remembered) >= MOST_REMEMBERED:
                        remembered.clear()
                    remembered[said] = tuple([(var, states[var]) for var, _ in steady])
            for var, entry in timed:
                states[var] = look(var, entry, states[var])

    def _said_now(self, name: str) -> Hashable:
        """Return what was recorded of a finding, if it was said once a side, at the moment of the visit.

        None where it is not: then what was recorded when, and how settled, counts too.
        """
        shape, at, by_place = self.pack.findings[name], self.visit.at, self.readings.by_place
        if shape.readings:
            return None
        found: list[Hashable] = []
        for side in shape.sides or ("",):
            listed = by_place.get((name, side))
            if listed is not None:
                one = listed[0]
                of_now = one.here and one.status == "final" and one.time.lo == at.lo == one.time.hi
                possible = one.possible
                if len(listed) > 1 or not of_now or one.qualifiers or possible is None:
                    return None
                if isinstance(possible, Range):
                    if possible.lo is None or possible.lo is not possible.hi:
                        return None
                    found.append((possible.lo.numerator, possible.lo.denominator))
                else:
                    found.append(possible)
            else:
                found.append(None)
        return (name, *found)

    def _fill_others(self, places: Iterable[Where]) -> None:
        """Fill the variables of findings that look further than at the latest value."""
        others, states, look = self.filling.others, self.states, self.looks.state
        for name in dict.fromkeys([name for name, _ in places if name in others]):
            for var, entry in others[name]:
                states[var] = look(var, entry, states[var])

    def _fill_beyond(self, places: Iterable[Where]) -> None:
        """Compare with lines last: a line may depend on a conclusion, and so on any other finding."""
        lines = self.filling.lines
        for name in dict.fromkeys([name for name, _ in places if name in lines]):
            for var, entry in lines[name]:
                if self.states[var] != NO:
                    self.states[var] = self._beyond(entry.view)

    def _fill_guards(self) -> None:
        """A guarded finding can "not apply" unless its guard holds; where the guard fails, it does not apply."""
        for holds, variables in self.plan.guard_flags:
            answer = holds(self.states)
            for var, entry in variables:
                if entry.kind == "flag":
                    self.states[var] = self.states[var] if answer else NO
                elif not answer:
                    self.states[var] = NA
                elif answer == 1:
                    self.states[var] &= ~NA

    def _fill_complete(self) -> None:
        """Where the history is declared complete, what no other visit recorded was not found at another visit."""
        for name in self.pack.findings:
            for var, entry in self.plan.variables_of.get(name, ()):
                if entry.view.pick == "earlier" and not self.readings.earlier(name, entry.view.side).used:
                    self.states[var] = NO if entry.kind == "flag" else NA

    def _beyond(self, view: View) -> State:
        value, line = self.number(view.subject), self.result(view.line)
        lines = self.table(self.setting(self.plan.computed[view.line][1]["set"]))
        if value is None or not isinstance(lines, ThresholdSet) or line.why_not:
            return NO | YES
        less = convert(view.less, "umol/L", lines.unit) if view.less else None
        must, may = thresholds.beyond(in_unit(value, lines.unit), line.interval, lines.strict, less)
        return YES if must else (NO | YES if may else NO)

    def _measure_state(self, var: int, name: str) -> State:
        result, before = self.result(name), self.states[var]
        if result.categories is not None:
            if not result.categories:
                return before
            return self.pack.table.values_mask(var, result.categories) if result.used else before & ~NA
        if result.interval.blank:
            return before
        unit, interval = self.plan.measure_units[name], result.interval
        if unit != result.unit and unit and result.unit:
            interval = _in_bounds_unit(result, unit)
        return self.pack.table.interval_state(var, interval)

    def result(self, name: str) -> Result:
        """Return a measure of this visit, computed once."""
        found = self.measured.get(name)
        if found is None:
            self.measured[name] = PENDING
            compute, given = self.plan.computed[name]
            try:
                found = compute(self, given)
            except UnitMismatchError as error:
                found = Result(why_not=str(error))
            self.measured[name] = found
        return found

    def chosen(self, view: View) -> Chosen:
        """Return the recording that a view looks at."""
        return self.looks.chosen(view)

    # What a measure sees

    def number(self, name: str) -> Value | None:
        """Return the value of a finding, a view of it, or a measure; see `inputs.MeasureInputs`."""
        if name in self.numbers:
            return self.numbers[name]
        view = self.plan.view_of(name)
        if view.subject not in self.pack.measures:
            made = self.numbers[name] = self._value(self.looks.used(view), view.subject)
            return made
        found = self.result(view.subject)
        return None if found.interval.blank else Value(found.interval, found.unit, found.time, found.used)

    def timed(self, name: str) -> Value | None:
        """Return what `number` does, and of a named value its time alone; see `inputs.MeasureInputs`."""
        view = self.plan.view_of(name)
        used = None if view.subject in self.pack.measures else self.looks.used(view)
        if used is not None and isinstance(used.possible, frozenset):
            return Value(NOTHING_KNOWN, "", used.time, (used,))
        return self.number(name)

    def _value(self, reading: Recorded | None, subject: str) -> Value | None:
        if reading is None or not isinstance(reading.possible, Range):
            return None
        interval = Interval.one(reading.possible.lo, reading.possible.hi)
        return Value(interval, self.plan.finding_units[subject], reading.time, (reading,))

    def values(self, name: str) -> list[Value]:
        """Return all values of a finding, the latest first."""
        if name not in self.series:
            found = (self._value(r, name) for r in self.readings.latest_values(name))
            self.series[name] = [value for value in found if value is not None]
        return self.series[name]

    def flag(self, name: str) -> int:
        """Return 1, 0 or -1 for a yes-or-no finding or a conclusion (of what findings alone say of it)."""
        if name in self.plan.conclusion_flags:
            return self.plan.conclusion_flags[name](self.states)
        used = self.readings.value(name)
        if used is None or not isinstance(used.possible, frozenset):
            return -1
        return {frozenset({"yes"}): 1, frozenset({"no"}): 0}.get(used.possible, -1)

    def table(self, name: str) -> Any:
        """Return a table of the pack or the site, None where it was not supplied."""
        return self.pack.tables.get(name)

    def setting(self, name: str) -> str:
        """Return the choice in force; a name that is no setting stands for itself."""
        return self.settings.get(name, name)


def _in_bounds_unit(result: Result, unit: str) -> Interval:
    """A line, and the margin to it, come in the unit of the set; bounds are meant in the unit of the finding."""
    try:
        return converted(result.interval, result.unit, unit)
    except UnitMismatchError:
        return NOTHING_KNOWN if result.unit in ("umol/L", "mg/dL") else result.interval
