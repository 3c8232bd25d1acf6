"""Bilirubin by hour of age on the lines of the set in use.

A line that answers one way only (above it a value is acted on, below it nothing is settled) is drawn with teeth on the
side that it answers. Lines and their source are the set's own: NICE CG98 (2023), or what a site supplies.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack
from layette.engine.exact.ranges import Range
from layette.engine.exact.units import convert
from layette.engine.measures.thresholds import Curve, ThresholdSet
from layette.engine.pack.written.shapes import MeasureShape
from layette.engine.visit.visit import Visit
from layette.mapping.pages.figures.drawing import CLAY, INK, SOFT, Axes, Drawing, Figure, ticks
from layette.mapping.pages.figures.readings import Seen, age_now, numbers
from layette.mapping.text.values import is_telling, measured

_LEAST_HOURS = 120.0
_DAY = 24.0
_WEEK = 7
_TEETH = 24


@dataclass(frozen=True)
class _Line:
    name: str
    label: str
    curve: Curve
    one_way: bool
    note: str


@dataclass(frozen=True)
class _Kind:
    """One way of measuring: by its finding, with what was read in the unit of the lines."""

    label: str
    seen: list[Seen]
    of_skin: bool


def bilirubin(pack: Pack, visit: Visit, assessment: Assessment) -> Figure | None:
    """Return the figure; None where no bilirubin was measured."""
    bound = [shape for shape in pack.measures.values() if shape.compute == "threshold"]
    table = _in_use(pack, assessment, bound)
    if table is None:
        return None
    kinds = list(_kinds(pack, visit, bound, table.unit))
    points = [seen for kind in kinds for seen in kind.seen]
    if not points:
        return None
    used = _of_weeks(pack, visit, table)
    lines = [] if used is None else list(_lines(used, visit, assessment))
    hours = max(_LEAST_HOURS, age_now(visit) * 1.05)
    tops = [_at(line.curve, hours) for line in lines] + [one.value for one in points]
    drawing = Drawing("bilirubin", 420, 230)
    axes = Axes(drawing, (0, hours), (0, max(tops) * 1.12), (46, 10, 410, 198))
    step = next(step for step in (_DAY, 2 * _DAY, 7 * _DAY, 14 * _DAY) if hours / step <= 9)
    axes.grid([(at, f"{at / _DAY:g}") for at, _ in ticks(0, hours, step)], ticks(0, max(tops) * 1.12, _step(max(tops))))
    drawing.words((410, 226), "days of age", anchor="end")
    drawing.words((50, 16), table.unit.replace("umol", "µmol"))
    for line in lines:
        _draw(axes, line, hours)
    for kind in kinds:
        if not kind.of_skin:
            axes.curve([(one.hours, one.value) for one in kind.seen], INK, 1.6)
        for one in kind.seen:
            drawing.dot(axes.at(one.hours, one.value), INK, 4, hollow=kind.of_skin)
    title = f"Bilirubin; no line for this gestation in {table.label}"
    if used is not None:
        title = f"Bilirubin on the lines of {used.label}"
    told = f"{_told(points, table)} {_margins(assessment)}".strip()
    return Figure(title, drawing.svg(title, told), _rows(kinds, table), tuple(_notes(kinds, lines, assessment)))


def _in_use(pack: Pack, assessment: Assessment, bound: list[MeasureShape]) -> ThresholdSet | None:
    """Return the set that a setting chose, first; a set that a measure names itself is for what the first lacks."""
    choices = {one.id: one.choice for one in assessment.settings}
    for shape in bound:
        table = pack.tables.get(choices.get(str(getattr(shape, "set", "")), ""))
        if isinstance(table, ThresholdSet):
            return table
    return None


def _kinds(pack: Pack, visit: Visit, bound: list[MeasureShape], unit: str) -> Iterator[_Kind]:
    for place, finding in enumerate(dict.fromkeys(str(getattr(shape, "of", "")) for shape in bound)):
        shape = pack.findings[finding]
        own = shape.number.unit if shape.number else unit
        seen = [
            Seen(
                one.hours,
                one.days,
                float(convert(Fraction(one.value).limit_denominator(10**6), own, unit)),
                one.written,
                one.final,
            )
            for one in numbers(visit, finding)
        ]
        if seen:
            yield _Kind(shape.label, seen, of_skin=place > 0)


def _of_weeks(pack: Pack, visit: Visit, table: ThresholdSet) -> ThresholdSet | None:
    """Return the set that has lines for the weeks at birth: the one in use, the one for the younger, or none."""
    weeks, younger = _weeks(visit), pack.tables.get(table.younger)
    if weeks is None or weeks >= table.gestations[0]:
        return table
    return younger if isinstance(younger, ThresholdSet) and weeks in younger.gestations else None


def _lines(used: ThresholdSet, visit: Visit, assessment: Assessment) -> Iterator[_Line]:
    """Yield the lines that this newborn may be on: by completed weeks and risk, both risks where that is open."""
    weeks = _weeks(visit)
    week = used.gestations[-1] if weeks is None else min(max(weeks, used.gestations[0]), used.gestations[-1])
    state = {one.id: one.state for one in assessment.conclusions}
    known = {"yes": ("present",), "no": ("none",)}.get(
        next((s for i, s in state.items() if i.endswith("_risk")), "open")
    )
    for line in used.lines:
        for risk in used.risks:
            if risk is not None and known is not None and risk not in known:
                continue
            with_risk = "" if risk is None else (", with a risk" if risk == "present" else ", without a risk")
            note = f"{week} weeks" + (" and more" if week == used.gestations[-1] and not used.one_way else "")
            yield _Line(line, f"{line}{with_risk}", used.curves[line, week, risk], used.one_way or weeks is None, note)


def _weeks(visit: Visit) -> int | None:
    found = {
        one.possible.lo // _WEEK
        for one in visit.readings
        if one.finding == "gestational_age" and isinstance(one.possible, Range) and one.possible.exact
        and one.possible.lo is not None
    }  # fmt: skip
    return int(found.pop()) if len(found) == 1 else None


def _at(curve: Curve, hours: float) -> float:
    age = min(hours * curve.age_scale, curve.ages[-1])
    place = max(i for i, start in enumerate(curve.ages) if start <= max(age, curve.ages[0]))
    return (curve.offsets[place] + curve.slopes[place] * (age / curve.age_scale)) / curve.widths[place]


def _corners(curve: Curve, hours: float) -> Iterator[tuple[float, float]]:
    """Yield the corners of a line up to an age, both ends of each step where it goes by steps."""
    starts = [age / curve.age_scale for age in curve.ages]
    for place, (start, end) in enumerate(zip(starts, [*starts[1:], hours], strict=True)):
        for at in (start, min(end, hours)):
            if start <= at <= hours:
                yield at, (curve.offsets[place] + curve.slopes[place] * at) / curve.widths[place]


def _draw(axes: Axes, line: _Line, hours: float) -> None:
    points = list(_corners(line.curve, hours))
    color, dash = (CLAY, "") if line.name == "exchange" else (SOFT, "7 3")
    axes.curve(points, color, 1.5, dash)
    if line.one_way:
        for place in range(1, _TEETH):
            x, y = axes.at(hours * place / _TEETH, _at(line.curve, hours * place / _TEETH))
            axes.drawing.line([(x, y), (x, y - 5)], color, 1.2)
    x, y = axes.at(*points[-1])
    axes.drawing.words((x - 2, y - 7), line.label, anchor="end", color=color)


def _told(points: list[Seen], table: ThresholdSet) -> str:
    unit = table.unit.replace("umol", "µmol")
    return "Measured: " + "; ".join(f"{one.value:.0f} {unit} at {int(one.hours)} hours" for one in points) + "."


def _margins(assessment: Assessment) -> str:
    told = [": ".join(measured(one)) for one in assessment.measures if one.id.endswith("_margin") and is_telling(one)]
    return "; ".join(told) + ("." if told else "")


def _rows(kinds: list[_Kind], table: ThresholdSet) -> tuple[tuple[str, ...], ...]:
    unit = table.unit.replace("umol", "µmol")
    rows = [
        (f"{int(one.hours)} h", kind.label, one.written, f"{one.value:.0f} {unit}")
        for kind in kinds
        for one in kind.seen
    ]
    return (("age", "measured as", "as recorded", "on the lines"), *rows)


def _notes(kinds: list[_Kind], lines: list[_Line], assessment: Assessment) -> Iterator[str]:
    if not lines:
        yield "No line is drawn: the set in use has none for this gestation."
    if any(line.one_way for line in lines):
        yield "A line with teeth answers above it only; below it nothing is settled."
    if lines:
        yield f"Lines of {lines[0].note}."
    if any(kind.of_skin for kind in kinds):
        yield "Hollow marks were measured through the skin."
    if margins := _margins(assessment):
        yield margins


def _step(top: float) -> float:
    return next(step for step in (2, 5, 10, 50, 100, 200, 500) if top / step <= 8)
