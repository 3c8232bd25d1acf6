"""What a set of treatment lines must satisfy before any baby is compared with it.

A wrong line is worse than no line: without a set the bilirubin rules answer "cannot evaluate". So a set is refused
if a line falls with age, an exchange line lies below its phototherapy line, a line with a risk factor lies above the
line without, the hours are not covered, or it ends far from where the guideline's figures level off.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from layette.engine.exact.interval import Interval
from layette.engine.exact.units import convert
from layette.engine.measures.thresholds import Curve, CurveKey, Risk, ThresholdSet


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with a set, and the CSV line where it shows (1 where it concerns the whole file)."""

    row: int
    key: str
    message: str


@dataclass(frozen=True, slots=True)
class SanityPoint:
    """One approximate point of a published figure: never a threshold.

    A supplied line must lie ``within`` of ``value`` at ``age`` hours, or is refused (``refuse``), else looked at again.
    """

    line: str
    risk: Risk
    weeks: int
    and_later: bool
    age: Fraction
    value: Fraction
    within: Fraction
    refuse: bool


@dataclass(frozen=True, slots=True)
class SanityTable:
    """Approximate points of one issuer's figures, in ``unit``."""

    name: str
    issuer: str
    unit: str
    points: tuple[SanityPoint, ...]
    source: tuple[str, ...]
    status: str


def faults(table: ThresholdSet) -> list[Fault]:
    """Return all that a set has wrong in itself; empty where it may be used."""
    found = [fault for key, curve in table.curves.items() for fault in _of_curve(key, curve, table.covers)]
    found += _against(table, "exchange", "phototherapy")
    found += _risk_above(table)
    return found


def second_looks(table: ThresholdSet) -> list[Fault]:
    """Return what is unusual but not refused: a line of younger babies above that of older ones."""
    found: list[Fault] = []
    for (line, week, risk), older in table.curves.items():
        younger = table.curves.get((line, week - 1, risk))
        if younger is not None:
            found += _crossings(older, younger, f"{line} of {week - 1} weeks lies above that of {week} weeks")
    return found


def against_figures(table: ThresholdSet, figures: Iterable[SanityTable]) -> tuple[list[Fault], list[Fault]]:
    """Return (refused, to look at again): where a set is far from what is known of its issuer's figures."""
    refused: list[Fault] = []
    look: list[Fault] = []
    for figure in figures:
        if figure.issuer == table.issuer:
            for point in figure.points:
                (refused if point.refuse else look).extend(_far(table, point, figure))
    return refused, look


def value_at(curve: Curve, age: Fraction) -> Fraction:
    """Return the line's value at one age in hours."""
    end = curve.at(Interval.one(age, age).lo)
    return Fraction(int(end.num), int(end.den))


def _of_curve(key: CurveKey, curve: Curve, covers: tuple[int, int]) -> Iterator[Fault]:
    for i in np.flatnonzero(np.diff(curve.values) < 0) + 1:
        yield Fault(curve.rows[i], "value", f"{_named(key)} falls with age")
    if curve.ages[0] != covers[0] * curve.age_scale:
        yield Fault(curve.rows[0], "covers", f"{_named(key)} does not begin at {covers[0]} h")
    if curve.ages[-1] > covers[1] * curve.age_scale:
        yield Fault(curve.rows[-1], "covers", f"{_named(key)} has points after {covers[1]} h")
    if curve.values[0] <= 0:
        yield Fault(curve.rows[0], "value", f"{_named(key)} is not above 0")


def _against(table: ThresholdSet, upper: str, lower: str) -> list[Fault]:
    found: list[Fault] = []
    for (line, week, risk), curve in table.curves.items():
        other = table.curves.get((lower, week, risk))
        if line == upper and other is not None:
            found += _crossings(curve, other, f"{_named((line, week, risk))} lies below {lower}")
    return found


def _risk_above(table: ThresholdSet) -> list[Fault]:
    found: list[Fault] = []
    for (line, week, risk), curve in table.curves.items():
        without = table.curves.get((line, week, "none")) if risk == "present" else None
        if without is not None:
            message = f"{_named((line, week, risk))} lies above that without"
            found += [Fault(curve.rows[0], "value", fault.message) for fault in _crossings(without, curve, message)][:1]
    return found


def _crossings(upper: Curve, lower: Curve, message: str) -> list[Fault]:
    """Return one fault for each printed point of ``upper`` at or before which it lies below ``lower``."""
    ages = sorted({Fraction(int(a), c.age_scale) for c in (upper, lower) for a in c.ages})
    low = [age for age in ages if value_at(upper, age) < value_at(lower, age)]
    rows = {_row_at(upper, age) for age in low}
    return [Fault(row, "value", message) for row in sorted(rows)]


def _row_at(curve: Curve, age: Fraction) -> int:
    i = int(np.searchsorted(curve.ages, int(age * curve.age_scale), side="right")) - 1
    return curve.rows[max(i, 0)]


def _far(table: ThresholdSet, point: SanityPoint, figure: SanityTable) -> Iterator[Fault]:
    """Yield where a line is far from a point, compared in the unit of the figure."""
    weeks: Sequence[int] = [w for w in table.gestations if w == point.weeks or (point.and_later and w > point.weeks)]
    for week in weeks:
        curve = table.curves.get((point.line, week, point.risk))
        if curve is None:
            continue
        here = convert(value_at(curve, point.age), table.unit, figure.unit)
        if abs(here - point.value) > point.within:
            line, near = _named((point.line, week, point.risk)), float(point.value)
            message = f"{line} is {float(here):g} at {float(point.age):g} h; {figure.name} gives about {near:g}"
            yield Fault(_row_at(curve, point.age), "value", f"{message}, and {float(point.within):g} is allowed")


def _named(key: CurveKey) -> str:
    line, week, risk = key
    return f"{line} of {week} weeks" + ("" if risk is None else f", risk {risk}")
