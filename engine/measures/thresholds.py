"""Treatment lines by age, gestation and risk: what a set answers, and what lies beyond its line.

Lines are straight between the printed points, in exact rational arithmetic; where a printed point is rounded down,
the printed, lower one holds. The last point holds to the end of the ages covered; after that the set does not answer.
A set is compared only in its own unit: the caller converts (1 mg/dL = 17.1 umol/L exactly).

Sources: NICE CG98 (2010, updated 2023), threshold table; Kemper et al., Pediatrics 2022;150(3):e2022058859, whose
curves are chosen by completed week of gestation (38 0/7 selects 38) and by neurotoxicity risk factors.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Literal, TypeAlias

from layette.engine.exact.arithmetic import at_least, hull, more_than, subtract
from layette.engine.exact.interval import (
    HIGHEST,
    LOWEST,
    NOTHING_KNOWN,
    Interval,
    Ratio,
    floors,
    larger,
    negative,
    pick,
    smaller,
)
from layette.engine.exact.one_or_many import Bools, Integers, at, clipped, least_of, most_of, plus, some, step_at, times
from layette.engine.measures.input_kinds import OF_TABLE, SAME, AgeAt, Flag, Lines, Of, Word
from layette.engine.measures.registry import measure

Risk: TypeAlias = Literal["none", "present"]
CurveKey: TypeAlias = tuple[str, int, "Risk | None"]
"""Line, completed weeks of gestation, risk; risk is None in a set that makes no such difference."""

_WEEK = 7


@dataclass(frozen=True, slots=True)
class Curve:
    """One line: its printed points, ages in ``1 / age_scale`` h, values in ``1 / value_scale`` of the set's unit.

    From point i to the next the value is ``(offsets[i] + slopes[i] * hours) / widths[i]``, in whole numbers; where a
    line holds (after its last point, or in a stepped set) the slope is 0. ``rows`` are the points' CSV lines.
    """

    ages: tuple[int, ...]
    values: tuple[int, ...]
    age_scale: int
    value_scale: int
    offsets: tuple[int, ...]
    slopes: tuple[int, ...]
    widths: tuple[int, ...]
    rows: tuple[int, ...]

    @classmethod
    def through(cls, points: list[tuple[int, int, int]], age_scale: int, value_scale: int, straight: bool) -> Curve:
        """Return the line through ``points`` (age, value, CSV line), which stand in rising order of age."""
        ages, values, rows = zip(*points, strict=True)
        steps = [(a, v, b - a, w - v if straight else 0) for (a, v, _), (b, w, _) in pairwise(points)]
        steps.append((ages[-1], values[-1], 1, 0))
        offsets = tuple(value * run - rise * age for age, value, run, rise in steps)
        slopes = tuple(rise * age_scale for _, _, _, rise in steps)
        widths = tuple(run * value_scale for _, _, run, _ in steps)
        return cls(ages, values, age_scale, value_scale, offsets, slopes, widths, rows)

    def at(self, age: Ratio) -> Ratio:
        """Return the line's value at finite ages in hours, none before the first point."""
        steps = age if self.age_scale == 1 else Ratio(times(age.num, self.age_scale), age.den)
        i = step_at(self.ages, floors(steps, 0, self.ages[-1]))
        num = plus(times(at(self.offsets, i), age.den), times(at(self.slopes, i), age.num))
        return Ratio(num, times(at(self.widths, i), age.den))


@dataclass(frozen=True, slots=True)
class ThresholdSet:
    """An issuer's treatment lines. ``strict``: beyond means more than the line (NICE), else the line or more.

    ``gestations`` are completed weeks in rising order, without holes; the last holds for every later week.
    ``covers`` is the first and last hour of age for which the set answers. ``one_way``: a value above a line is beyond
    it, one below is never answered. ``near``: how far below a line, in ``unit``, a value still matters that no line can
    judge; for gestations below the lowest the set named ``younger`` says where that line is.
    """

    name: str
    issuer: str
    label: str
    unit: str
    strict: bool
    gestations: tuple[int, ...]
    lines: tuple[str, ...]
    risks: tuple[Risk | None, ...]
    covers: tuple[int, int]
    curves: Mapping[CurveKey, Curve]
    source: tuple[str, ...]
    status: str
    provenance: str
    signed_off: tuple[str, ...] = ()
    one_way: bool = False
    near: int | None = None
    younger: str = ""


@measure(
    "threshold",
    inputs=[
        Lines("set", ThresholdSet),
        Word("line", "line"),
        AgeAt("of", "h"),
        Of("gestation", "d", may_be_unknown=True),
        Flag("risk", required=False),
    ],
    unit=OF_TABLE,
    says="a treatment line when `of` was measured, for `beyond`",
    source="the set's own: NICE CG98 (2023), or Kemper et al., Pediatrics 2022;150(3):e2022058859",
)
def threshold(
    set: ThresholdSet, line: str, age_h: Interval, gestation_days: Interval, risk: Integers | None = None
) -> Interval:
    """Return where ``line`` lies, in the set's unit, shape (n,).

    ``age_h`` in hours; ``gestation_days`` at birth in days, of which completed weeks count; ``risk`` as a flag
    (1 present, 0 none, -1 unknown; left out = unknown). What is uncertain gives the hull of the lines still possible.
    A gestation that may lie below the set's lowest leaves the low end open: a value above the line is beyond it,
    one below is undecided, since the lines of younger babies are lower (our reading). So a wholly unknown gestation
    gives (-inf, the highest line in question]. An age that may lie outside the hours covered gives no answer. A set
    that is one-way leaves the low end open for everybody. Raises KeyError for a line that the set does not have.
    """
    if line not in set.lines:
        raise KeyError(line)
    if age_h.size == 0:
        return Interval.unknown(0)
    first = _weeks(gestation_days.lo)
    last = first if gestation_days.exact else _weeks(gestation_days.hi)
    outside = _outside(set, age_h)
    age = _inside(age_h, outside, set.covers[0])
    found = _between_curves(set, line, age, first, last, risk)
    below_lowest = (first < set.gestations[0]) | set.one_way
    if not (some(below_lowest) or some(outside)):
        return found
    hi = pick(outside, HIGHEST, found.hi) if some(outside) else found.hi
    return Interval(pick(below_lowest | outside, LOWEST, found.lo), hi)


def lowest(
    set: ThresholdSet,
    younger: ThresholdSet | None,
    line: str,
    age_h: Interval,
    gestation_days: Interval,
    risk: Integers | None = None,
) -> Interval | None:
    """Return the lowest ``line`` that one newborn may have, at one end or the other of what is not known.

    It says how near a value is, never that it is below: for gestations under the lowest of ``set`` it takes the line
    of ``younger`` (of its lowest gestation for all below), and outside the hours covered that of the nearest hour.
    None where there is no such line. Shape (1,).
    """
    first, last = _weeks(gestation_days.lo), _weeks(gestation_days.hi)
    start, end = (Ratio(hour, 1) for hour in set.covers)
    age = Interval(smaller(larger(age_h.lo, start), end), smaller(larger(age_h.hi, start), end))
    found = []
    if least_of(first) < set.gestations[0]:
        if younger is None or line not in younger.lines:
            return None
        found.append(_between_curves(younger, line, age, first, last, risk))
    if most_of(last) >= set.gestations[0]:
        found.append(_between_curves(set, line, age, first, last, risk))
    return found[0] if len(found) == 1 else hull(*found)


def _weeks(days: Ratio) -> Integers:
    return floors(Ratio(days.num, times(days.den, _WEEK)), -1000, 1000)


def _outside(set: ThresholdSet, age: Interval) -> Bools:
    """Return where the age may lie after the hours covered, or surely lies before."""
    first, end = set.covers
    rounded_up = -floors(negative(age.hi), -end - 1, end + 1)
    return (rounded_up > end) | (floors(age.hi, first - 1, end) < first)


def _inside(age: Interval, outside: Bools, start: int) -> Interval:
    """Return the ages from the first hour covered on; where ``outside`` any age, since that answer is dropped."""
    if age.exact and not some(outside):
        return age
    first = Ratio(start, 1)
    lo = pick(outside, first, age.lo if age.exact else larger(age.lo, first))
    return Interval(lo, lo if age.exact else pick(outside, first, age.hi))


def _between_curves(
    set: ThresholdSet,
    line: str,
    age: Interval,
    first: Integers,
    last: Integers,
    risk: Integers | None,
) -> Interval:
    """Return the hull of the curves that each element may be on; each is on one at least."""
    first, last = _positions(first, set), _positions(last, set)
    found, met = NOTHING_KNOWN, False  # type: Interval, Bools
    for j in range(least_of(first), most_of(last) + 1):
        for name in set.risks:
            here = (first <= j) & (j <= last) & _may_have(name, risk)
            if some(here):
                found = _joined(found, met, _on(set.curves[line, set.gestations[j], name], age), here)
                met = met | here
    return found


def _positions(weeks: Integers, set: ThresholdSet) -> Integers:
    """Return which of the set's gestations, which leave no week out, hold for each week."""
    return clipped(weeks - set.gestations[0], 0, len(set.gestations) - 1)


def _may_have(name: Risk | None, risk: Integers | None) -> Bools:
    if name is None or risk is None:
        return True
    return (risk == -1) | (risk == (1 if name == "present" else 0))


def _on(curve: Curve, age: Interval) -> Interval:
    lo = curve.at(age.lo)  # a loaded line never falls, so the ends of the age give the ends of the line
    return Interval(lo, lo if age.exact else curve.at(age.hi))


def _joined(found: Interval, met: Bools, more: Interval, here: Bools) -> Interval:
    """Return ``found`` widened by ``more`` where ``here``; where no curve was met before, ``more`` alone."""
    if found is NOTHING_KNOWN:
        return more
    if more.exact and found.exact and not some(met & here):
        lo = pick(here, more.lo, found.lo)
        return Interval(lo, lo)
    both, again = hull(found, more), here & met
    lo = pick(again, both.lo, pick(here, more.lo, found.lo))
    return Interval(lo, pick(again, both.hi, pick(here, more.hi, found.hi)))


def beyond(value: Interval, line: Interval, strict: bool, less: Fraction | None = None) -> tuple[Bools, Bools]:
    """Return (must, may) of the value lying beyond the line, or beyond ``less`` under it; both in the set's unit.

    ``strict`` (from the set): more than the line, else at least the line. Shape (n,) each.
    """
    bar = line if less is None else subtract(line, Interval.one(less, less))
    return more_than(value, bar) if strict else at_least(value, bar)


@measure(
    "margin",
    inputs=[Of("of", SAME), Of("line", computed_by="threshold")],
    unit=SAME,
    says="how far the value lies above its line",
    source="arithmetic: value minus treatment line",
)
def margin(of: Interval, line: Interval) -> Interval:
    """Return how far the value lies above its line (negative: below), shape (n,), in the set's unit."""
    return subtract(of, line)
