"""From a visit to states: what is still possible for every variable of the pack.

All variables start as unknown; only what was recorded narrows them. A finding that does not apply is known to be
just that, and is never asked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from .binding import UNKNOWN, Result, Value, age_hours, compute, instant, one, span_of
from .conditions import State, evaluate
from .measures import ages, thresholds
from .measures.interval import Interval, Span
from .measures.thresholds import ThresholdSet
from .program import both, either
from .quantities import UnitMismatchError, convert
from .readings import NOTHING, Chosen, Readings
from .subjects import SEX
from .values import Range
from .views import Entry, View, run
from .visit import Recorded, Visit

if TYPE_CHECKING:
    from .assessment import Used
    from .explain import Asked
    from .pack import Pack

NA = 1
NO, YES = 1, 2
NOT_APPLICABLE = "not-applicable"


class Facts:
    """What one visit says about every variable of a pack; also what measures are computed from (`Sight`)."""

    def __init__(self, pack: Pack, visit: Visit, settings: Mapping[str, str]) -> None:
        """Look at ``visit`` through ``pack`` under ``settings``."""
        self.pack = pack
        self.visit = visit
        self.settings = settings
        self.readings = Readings(visit, pack.findings)
        self.ages: dict[tuple[int, int], Interval] = {}
        self.measured: dict[str, Result] = {}
        self.sought: dict[int, tuple[Asked, ...]] = {}
        self.asked_texts: dict[Asked, str] = {}
        self.measure_texts: dict[str, str] = {}
        self.rule_values: dict[int, tuple[Used, ...]] = {}
        self.states: list[State] = list(pack.unknown)
        self._fill()

    def _fill(self) -> None:
        self._fill_given()
        self._fill_measures(self.pack.time_measures)
        present = {reading.finding for reading in self.visit.readings}
        guarded = present & self.pack.compiled.guards.keys()
        self._fill_findings(present - guarded)
        self._fill_guards()
        self._fill_findings(guarded)
        if "observations" in self.visit.complete:
            self._fill_complete()
        self._fill_measures(self.pack.finding_measures)
        self._fill_beyond(present)

    def _fill_measures(self, names: Iterable[str]) -> None:
        for name in names:
            for var, entry in self.pack.variables_of.get(name, ()):
                self.states[var] = self._measure_state(var, entry)

    def _fill_findings(self, names: set[str]) -> None:
        """Fill the variables of findings: those that look at the latest value first, the others one by one."""
        for place in self.readings.by_place:
            if place[0] in names:
                for var, guarded in self.pack.latest_variables.get(place, ()):
                    self._fill_latest(var, place, guarded=guarded)
        for name in names:
            for var, entry in self.pack.other_variables.get(name, ()):
                self.states[var] = self._finding_state(var, entry, self.states[var])

    def _fill_latest(self, var: int, place: tuple[str, str], *, guarded: bool) -> None:
        before = self.states[var]
        used = self.readings.latest(*place).used
        if before == NA or used is None:
            return
        if isinstance(used.possible, frozenset):
            state = self.pack.table.values_mask(var, used.possible)
        elif used.possible is not None:
            state = self._range_cells(var, used.possible)
        else:
            state = NA if used.absent == NOT_APPLICABLE else before
        self.states[var] = state | (before & NA) if guarded and state != NA else state

    def _fill_beyond(self, names: set[str]) -> None:
        """Compare with lines last: a line may depend on a conclusion, and so on any other finding."""
        for name in names:
            for var, entry in self.pack.variables_of.get(name, ()):
                if entry.view.what == "beyond" and self.states[var] != NO:
                    self.states[var] = self._beyond(entry.view)

    def _fill_given(self) -> None:
        for name, choice in self.settings.items():
            for var, _ in self.pack.variables_of.get(f"setting:{name}", ()):
                self.states[var] = self.pack.table.values_mask(var, [choice])
        if self.visit.sex is not None:
            for var, _ in self.pack.variables_of.get(SEX, ()):
                self.states[var] = self.pack.table.values_mask(var, [self.visit.sex])

    def _fill_guards(self) -> None:
        """A guarded finding can "not apply" unless its guard holds; where the guard fails, it does not apply."""
        for guard, names in self.pack.guarded.items():
            answer = evaluate(guard, self.states)
            for name in names:
                for var, entry in self.pack.variables_of.get(name, ()):
                    if entry.kind == "flag":
                        self.states[var] = self.states[var] if answer.may else NO
                    elif not answer.may:
                        self.states[var] = NA
                    elif answer.must:
                        self.states[var] &= ~NA

    def _fill_complete(self) -> None:
        """Where the history is declared complete, what no other visit recorded was not found at another visit."""
        for name in self.pack.findings:
            for var, entry in self.pack.variables_of.get(name, ()):
                if entry.view.pick == "earlier" and not self.readings.earlier(name, entry.view.side).used:
                    self.states[var] = NO if entry.kind == "flag" else NA

    def _finding_state(self, var: int, entry: Entry, before: State) -> State:
        view = entry.view
        if before == NA or (entry.kind == "flag" and before == NO):
            return before
        if entry.kind == "flag" and self._does_not_apply(view):
            return NO
        if view.what == "unequal":
            return self._unequal(view)
        if view.what == "among":
            return self._among(view)
        if view.what == "recorded" and view.pick in ("any", "highest", "lowest"):
            return YES if self.readings.within(view.subject, view.side, view.over)[0] else before
        chosen = self.chosen(view)
        if view.what == "recorded":
            return YES if chosen.valued else before
        if chosen.used is not None and chosen.used.absent == NOT_APPLICABLE and chosen.used.possible is None:
            return NA
        may_not_apply = before & NA if self.pack.findings[view.subject].applies_when else 0
        known = self._state_of(var, entry, chosen)
        return before if known is None else known | may_not_apply

    def _does_not_apply(self, view: View) -> bool:
        used = None if view.what == "unequal" else self.readings.latest(view.subject, view.side).used
        return used is not None and used.possible is None and used.absent == NOT_APPLICABLE

    def chosen(self, view: View) -> Chosen:
        """Return the recording that a view looks at."""
        name, side = view.subject, view.side
        if view.attempt:
            attempts = self.readings.attempts(name)
            made = attempts[view.attempt - 1] if view.attempt <= len(attempts) else {}
            return Chosen(made[view.part]) if view.part in made else NOTHING
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
        chosen = (max if view.pick == "highest" else min)(numbers, key=_number)
        return Chosen(chosen)

    def _state_of(self, var: int, entry: Entry, chosen: Chosen) -> State | None:
        view, reading = entry.view, chosen.valued
        if view.qualifier:
            named = dict(reading.qualifiers).get(view.qualifier) if reading else None
            return None if named is None else self.pack.table.values_mask(var, [named])
        if view.what == "age" and reading is not None:
            return self._cells(var, age_hours(self, reading.time).span())
        if view.what == "since" and reading is not None:
            apart = ages.elapsed_hours(instant(self.visit.at), instant(reading.time))
            return self._cells(var, apart.span())
        if view.pick in ("highest", "lowest"):
            return self._extreme(var, view)
        if reading is None or reading.possible is None:
            return None
        if isinstance(reading.possible, Range):
            return self._range_cells(var, reading.possible)
        return self.pack.table.values_mask(var, reading.possible)

    def _extreme(self, var: int, view: View) -> State | None:
        surely, possibly = self.readings.within(view.subject, view.side, view.over)
        inside = [r.possible for r in surely if isinstance(r.possible, Range)]
        perhaps = [r.possible for r in possibly if isinstance(r.possible, Range)]
        if not perhaps:
            return None
        if not inside and view.over is not None:
            return None
        if view.pick == "highest":
            low, low_open = max(((r.lo, r.lo_open) for r in inside if r.lo is not None), default=(None, False))
            unbounded = any(r.hi is None for r in perhaps)
            high, shut = (
                max((r.hi, not r.hi_open) for r in perhaps if r.hi is not None) if not unbounded else (None, True)
            )
            return self._range_cells(var, Range(low, high, low_open, not shut))
        high, shut = min(((r.hi, not r.hi_open) for r in inside if r.hi is not None), default=(None, True))
        unbounded = any(r.lo is None for r in perhaps)
        low, low_open = min((r.lo, r.lo_open) for r in perhaps if r.lo is not None) if not unbounded else (None, False)
        return self._range_cells(var, Range(low, high, low_open, not shut))

    def _cells(self, var: int, span: Span) -> State:
        return self._range_cells(var, Range(*span))

    def _range_cells(self, var: int, found: Range) -> State:
        cuts = self.pack.table.cuts(var)
        table = self.pack.table
        first = 0 if found.lo is None else table.place(var, found.lo)
        last = 2 * len(cuts) if found.hi is None else table.place(var, found.hi)
        first += 1 if found.lo_open and first % 2 else 0
        last -= 1 if found.hi_open and last % 2 else 0
        return run(first, last) << 1

    def _unequal(self, view: View) -> State:
        sides = self.pack.findings[view.subject].sides or ()
        found = [self.readings.latest(view.subject, side).valued for side in sides]
        sets = [r.possible if r else None for r in found]
        if any(not isinstance(s, frozenset) for s in sets):
            return NO | YES
        known = [s for s in sets if isinstance(s, frozenset)]
        equal_possible = bool(frozenset.intersection(*known))
        equal_sure = all(len(s) == 1 for s in known) and len(frozenset.union(*known)) == 1
        return (NO if equal_possible else 0) | (0 if equal_sure else YES)

    def _among(self, view: View) -> State:
        surely, possibly = self.readings.within(view.subject, view.side, view.over)
        accept = frozenset(view.accept)
        sets = [(r in surely, r.possible) for r in possibly if isinstance(r.possible, frozenset)]
        if not any(sure for sure, _ in sets):
            return NO | YES
        if view.pick == "every":
            must = all(s <= accept for _, s in sets)
            may = all(s & accept for sure, s in sets if sure)
        else:
            must = any(s <= accept for sure, s in sets if sure)
            may = any(s & accept for _, s in sets)
        return YES if must else (NO | YES if may else NO)

    def _beyond(self, view: View) -> State:
        value, line = self.number(view.subject), self.result(view.line)
        shape = self.pack.measures[view.line]
        lines = self.table(self.setting(str((shape.model_extra or {})["set"])))
        if value is None or not isinstance(lines, ThresholdSet) or line.why_not:
            return NO | YES
        less = convert(view.less, "umol/L", lines.unit) if view.less else None
        must, may = thresholds.beyond(one(value.span, value.unit, lines.unit), one(line.span), lines.strict, less)
        return YES if must else (NO | YES if may else NO)

    def _measure_state(self, var: int, entry: Entry) -> State:
        result = self.result(entry.view.subject)
        if result.categories is not None:
            if not result.categories:
                return self.states[var]
            full = self.states[var] & ~NA
            return self.pack.table.values_mask(var, result.categories) if result.used else full
        if result.span == UNKNOWN:
            return self.states[var]
        return self._cells(var, self._in_bounds_unit(entry.view.subject, result))

    def _in_bounds_unit(self, name: str, result: Result) -> Span:
        """A line, and the margin to it, come in the unit of the set; bounds are meant in the unit of the finding."""
        unit = self.pack.subjects.measure_unit(name)
        if not unit or not result.unit or unit == result.unit:
            return result.span
        try:
            low, high = (None if end is None else convert(end, result.unit, unit) for end in result.span)
        except UnitMismatchError:
            return UNKNOWN if result.unit in ("umol/L", "mg/dL") else result.span
        return low, high

    def result(self, name: str) -> Result:
        """Return a measure of this visit, computed once."""
        if name not in self.measured:
            self.measured[name] = Result()
            try:
                self.measured[name] = compute(self.pack.measures[name], self)
            except UnitMismatchError as error:
                self.measured[name] = Result(why_not=str(error))
        return self.measured[name]

    # What a measure sees

    def number(self, name: str) -> Value | None:
        """Return the value of a finding, a view of it, or a measure; see `binding.Sight`."""
        subject = name.split(".")[0]
        if subject in self.pack.measures:
            result = self.result(subject)
            return Value(result.span, result.unit, result.time, result.used) if result.span != UNKNOWN else None
        view = self.pack.view_of(name)
        return self._value(self.chosen(view).valued, subject)

    def _value(self, reading: Recorded | None, subject: str) -> Value | None:
        number = self.pack.findings[subject].number
        if reading is None or number is None or not isinstance(reading.possible, Range):
            return None
        return Value(span_of(reading.possible), number.unit, reading.time, (reading,))

    def values(self, name: str) -> list[Value]:
        """Return all values of a finding, the latest first."""
        found = (self._value(r, name) for r in self.readings.latest_values(name))
        return [value for value in found if value is not None]

    def flag(self, name: str) -> int:
        """Return 1, 0 or -1 for a yes-or-no finding or a conclusion (of what findings alone say of it)."""
        if name in self.pack.concluders:
            rules = self.pack.concluders[name]
            own = [both(evaluate(r.applies, self.states), evaluate(r.when, self.states)) for r in rules]
            answer = either(own)
            return 1 if answer.must else (-1 if answer.may else 0)
        chosen = self.readings.latest(name).valued
        if chosen is None or not isinstance(chosen.possible, frozenset):
            return -1
        return {frozenset({"yes"}): 1, frozenset({"no"}): 0}.get(chosen.possible, -1)

    def table(self, name: str) -> Any:
        """Return a table of the pack or the site, None where it was not supplied."""
        return self.pack.tables.get(name)

    def setting(self, name: str) -> str:
        """Return the choice in force; a name that is no setting stands for itself."""
        return self.settings.get(name, name)


def _number(reading: Recorded) -> Fraction:
    assert isinstance(reading.possible, Range)
    assert reading.possible.lo is not None
    return reading.possible.lo
