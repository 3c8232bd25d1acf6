"""From the recordings of a visit to what a measure gives: one binder, made of what each measure declares.

The function for a measure is written out by `measure_text`; the words that its text uses stand here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from fractions import Fraction
from functools import lru_cache
from typing import Any

from layette.engine.exact.interval import NOTHING_KNOWN, Interval
from layette.engine.exact.times import Moment
from layette.engine.exact.units import seconds
from layette.engine.measures import REGISTRY
from layette.engine.measures.input_kinds import BIRTH, OF_TABLE, SAME, Lines
from layette.engine.measures.registry import MeasureFunction
from layette.engine.states.inputs import Compute, MeasureInputs, Parameters, Result, Value, elapsed, in_unit
from layette.engine.states.measure_text import text_of
from layette.engine.visit.visit import Recorded, Visit

JULY, MONTHS = 7, 12


class Binding:
    """How a measure is computed from a visit; immutable, so that threads may share it.

    ``compute`` raises `UnitMismatchError` where a unit does not fit.
    """

    def __init__(self, declared: MeasureFunction) -> None:
        """Write and compile the function for ``declared``."""
        self.declared = declared
        self.text = text_of(declared)
        nothing = Result(unit="" if declared.unit in (SAME, OF_TABLE) else declared.unit)
        names: dict[str, Any] = {
            **WORDS,
            **{lines.kind.__name__: lines.kind for lines in declared.of_kind(Lines)},
            "function": declared.function,
            "basis": declared.basis,
            "nothing": nothing,
            "not_supplied": lambda what: nothing._replace(why_not=f"{what} not supplied"),
            "too_close": lambda later, earlier, why: nothing._replace(used=(*later.used, *earlier.used), why_not=why),
        }
        exec(compile(self.text, f"<layette measure {declared.name}>", "exec"), names)
        self.compute: Compute = names["compute"]

    def __reduce__(self) -> Any:
        """A compiled function cannot be pickled: it is made anew from the declaration."""
        return binding_of, (self.declared.name,)


@lru_cache(maxsize=1000)
def amount_of_time(written: str, unit: int) -> Interval:
    """Return an amount of time that a pack writes, in units of so many seconds."""
    amount = Fraction(seconds(written), unit)
    return Interval.one(amount, amount)


def behind(*values: Value | None) -> tuple[Recorded, ...]:
    """Return the recordings behind several values, each once."""
    found: list[Recorded] = []
    for value in values:
        for recorded in value.used if value is not None else ():
            for other in found:
                if other is recorded:  # by identity: to compare two recordings costs more than to compute the measure
                    break
            else:
                found.append(recorded)
    return tuple(found)


def in_seconds(moment: Moment) -> Interval:
    """Return when a moment is, in UTC seconds."""
    return Interval.one(moment.lo, moment.hi)


def latest_and_before(inputs: MeasureInputs, name: str, written: Parameters) -> tuple[Value | None, Value | None]:
    """Return the latest value of a finding, and the one before it that ``since`` chooses."""
    listed, since = inputs.values(name), written.get("since")
    latest, before = listed[0] if listed else None, listed[1:]
    if since == BIRTH:
        at_birth = inputs.number(written["from"])
        return latest, at_birth and at_birth._replace(time=inputs.visit.born)
    if since == "nadir" and len(before) > 1:
        return latest, min(before, key=lambda value: (value.span[0] is None, value.span[0] or 0))
    return latest, before[0] if before else None


def month_from_july(visit: Visit) -> Interval:
    """Return the local calendar month of birth, 0 for July to 11 for June; nothing where it may lie on both sides."""
    born = [datetime.fromtimestamp(second, visit.zone) for second in (visit.born.lo, visit.born.hi)]
    first, last = ((moment.month - JULY) % MONTHS for moment in born)
    return Interval.one(first, last) if first <= last else NOTHING_KNOWN


def possible(table: Any, bands: list[bool]) -> tuple[str, ...]:
    """Return the names of the bands that are still possible."""
    return tuple(name for name, here in zip(table.bands, bands, strict=True) if here)


def said(written: Any) -> str:
    """Return what a pack wrote under a key, in words."""
    return str(written).replace("_", " ")


def sex_of(visit: Visit) -> int:
    """Return the sex at birth: 0 male, 1 female, -1 not known."""
    return {"male": 0, "female": 1}.get(visit.sex or "", -1)


def without_line(table: Any, line: str) -> Result:
    """Return the result where a set has not the line that a pack asks for."""
    return Result(unit=table.unit, why_not=f"{table.label} has no {line} line")


WORDS: Mapping[str, Any] = {
    function.__name__: function
    for function in (
        Result,
        amount_of_time,
        behind,
        elapsed,
        in_seconds,
        in_unit,
        latest_and_before,
        month_from_july,
        possible,
        said,
        seconds,
        sex_of,
        without_line,
    )
} | {"NOTHING_KNOWN": NOTHING_KNOWN}
"""What the text of every measure may use."""


def binding_of(name: str) -> Binding:
    """Return how the registered function ``name`` is computed. Raises KeyError where there is none."""
    return _bound(REGISTRY[name])


@lru_cache(maxsize=100)
def _bound(declared: MeasureFunction) -> Binding:
    return Binding(declared)


class _Bindings(Mapping[str, Binding]):
    """A binding for each function of the registry, also for one that is registered later."""

    def __getitem__(self, name: str) -> Binding:
        return binding_of(name)

    def __iter__(self) -> Iterator[str]:
        return iter(REGISTRY)

    def __len__(self) -> int:
        return len(REGISTRY)


BINDINGS: Mapping[str, Binding] = _Bindings()
