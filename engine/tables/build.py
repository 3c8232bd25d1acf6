"""From the rows of a CSV to the tables that the measures read; every mistake is reported with its line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import cast

import numpy as np

from layette.engine.measures.birth_size import PercentileTable
from layette.engine.measures.growth import LmsTable
from layette.engine.measures.steps import StepTable
from layette.engine.measures.thresholds import Curve, CurveKey, Risk, ThresholdSet
from layette.engine.tables import headers
from layette.engine.tables.set_safety import SanityPoint, SanityTable
from layette.engine.tables.sheet import Row, Sheet, scale_of, scaled

_SEXES = ("male", "female")
_RISKS = ("none", "present")
_LONG = ("line", "gestation_weeks", "age_hours", "value")


@dataclass(frozen=True, slots=True)
class PrintedTable:
    """Rows that people read: each maps the header's keys to text and its columns to exact numbers (None: empty)."""

    name: str
    label: str
    unit: str
    rows: tuple[Mapping[str, str | Fraction | None], ...]
    source: tuple[str, ...]
    status: str


# --- treatment lines ---

_Points = dict[CurveKey, dict[Decimal, tuple[Decimal, int]]]


def threshold_set(header: headers.SetHeader, sheet: Sheet) -> ThresholdSet | None:
    """Return a set of treatment lines, or None after reporting why not."""
    points = _wide(header, sheet) if isinstance(header.lines, Mapping) else _long(header, sheet)
    if not points or sheet.problems:
        return None
    return ThresholdSet(
        name=sheet.name,
        issuer=header.issuer,
        label=header.label,
        unit=header.unit,
        strict=header.beyond == "more_than",
        gestations=header.gestations,
        lines=tuple(header.lines),
        risks=header.risks or (None,),
        covers=_answered(header, points),
        curves=_curves(points, header),
        source=header.source,
        status=header.status,
        provenance=header.provenance,
        signed_off=tuple(f"{who.name}, {who.role}, {who.on.isoformat()}" for who in header.signed_off),
        one_way=header.one_way is not None,
        near=header.near,
        younger=header.younger or "",
    )


def _answered(header: headers.SetHeader, points: _Points) -> tuple[int, int]:
    """Return the hours for which the set answers: where its lines do not hold, up to the first of their last points."""
    first, last = header.covers
    if header.after_last == "hold":
        return first, last
    return first, min(last, *(int(max(line)) for line in points.values()))


def _curves(points: _Points, header: headers.SetHeader) -> dict[CurveKey, Curve]:
    """Return a curve for each line; all count ages and values in the same steps."""
    ages = scale_of(age for line in points.values() for age in line)
    values = scale_of(value for line in points.values() for value, _ in line.values())
    curves = {}
    for key, line in points.items():
        steps = [(int(age * ages), int(value * values), row) for age, (value, row) in sorted(line.items())]
        curves[key] = Curve.through(steps, ages, values, header.is_straight(key[0]))
    return curves


def _wide(header: headers.SetHeader, sheet: Sheet) -> _Points:
    lines = cast("Mapping[str, str]", header.lines)
    axis = cast("str", header.axis)
    points: _Points = {(line, header.gestations[0], None): {} for line in lines}
    if sheet.expect([axis, *lines.values()], header.for_people):
        for row in sheet.rows:
            for line, column in lines.items():
                _add(points, (line, header.gestations[0], None), row, sheet, (axis, column))
    return points


def _long(header: headers.SetHeader, sheet: Sheet) -> _Points:
    risks: Sequence[Risk | None] = header.risks or (None,)
    points: _Points = {(ln, wk, rk): {} for ln in header.lines for wk in header.gestations for rk in risks}
    if sheet.expect([*_LONG, "risk"] if header.risks else _LONG, header.for_people):
        for row in sheet.rows:
            line = sheet.choice(row, "line", tuple(header.lines))
            week = _week(row, sheet, header.gestations)
            risk = cast("Risk | None", sheet.choice(row, "risk", header.risks)) if header.risks else None
            if line and week and (risk or not header.risks):
                _add(points, (line, week, risk), row, sheet, ("age_hours", "value"))
        for key in (key for key, line in points.items() if not line):
            sheet.report(1, "rows", "table-gap", f"no row for {key[0]}, {key[1]} weeks" + _and_risk(key[2]))
    return points


def _and_risk(risk: str | None) -> str:
    return "" if risk is None else f", risk {risk}"


def _week(row: Row, sheet: Sheet, gestations: Sequence[int]) -> int | None:
    last = gestations[-1]
    if row.cells["gestation_weeks"] == f">={last}":
        return last
    week = sheet.choice(row, "gestation_weeks", [str(week) for week in gestations])
    return None if week is None else int(week)


def _add(points: _Points, key: CurveKey, row: Row, sheet: Sheet, columns: tuple[str, str]) -> None:
    age, value = (sheet.number(row, column) for column in columns)
    if age is None or value is None:
        return
    if age in points[key]:
        sheet.report(row.line, columns[0], "table-overlap", f"{age} h stands already on line {points[key][age][1]}")
    points[key].setdefault(age, (value, row.line))


# --- tables by sex and day ---


def _by_sex_and_day(
    sheet: Sheet, axis: str, covers: tuple[int, int], columns: Sequence[str]
) -> list[list[list[Decimal]]] | None:
    """Return the cells as [sex][day][column], or None after reporting gaps, repeats and cells that are no numbers."""
    numbers: dict[tuple[str, int], list[Decimal]] = {}
    lines: dict[tuple[str, int], int] = {}
    for row in sheet.rows:
        sex, day = sheet.choice(row, "sex", _SEXES), sheet.whole(row, axis)
        cells = [sheet.number(row, column) for column in columns]
        if sex is None or day is None:
            continue
        if (sex, day) in lines:
            sheet.report(row.line, axis, "table-overlap", f"{sex}, {day} stands already on line {lines[sex, day]}")
        if not covers[0] <= day <= covers[1]:
            sheet.report(row.line, axis, "table-value", f"{day} lies outside {covers[0]} to {covers[1]}")
        lines[sex, day] = row.line
        numbers[sex, day] = [cell for cell in cells if cell is not None]
    days = range(covers[0], covers[1] + 1)
    for sex in _SEXES:
        missing = [day for day in days if (sex, day) not in numbers]
        if missing:
            sheet.report(1, axis, "table-gap", f"{sex}: no row for {', '.join(map(str, missing[:5]))}" + _more(missing))
    return None if sheet.problems else [[numbers[sex, day] for day in days] for sex in _SEXES]


def _more(missing: Sequence[int]) -> str:
    return f" and {len(missing) - 5} more" if len(missing) > 5 else ""


def lms_table(header: headers.LmsHeader, sheet: Sheet) -> LmsTable | None:
    """Return L, M, S by sex and day, or None after reporting why not."""
    if not sheet.expect(["sex", header.axis, "L", "M", "S"], header.for_people):
        return None
    for row in sheet.rows:
        for column in ("M", "S"):
            value = sheet.number(row, column)
            if value is not None and value <= 0:
                sheet.report(row.line, column, "table-value", f"{column} must be above 0")
    cells = _by_sex_and_day(sheet, header.axis, header.covers, ("L", "M", "S"))
    if cells is None:
        return None
    lms = np.array(cells, dtype=np.float64)
    restricted = header.restricted_beyond_3_sd
    names = (sheet.name, header.label, header.unit, header.covers)
    return LmsTable(*names, restricted, lms, header.source, header.status)


def percentile_table(header: headers.PercentilesHeader, sheet: Sheet) -> PercentileTable | None:
    """Return printed percentiles by sex and day, or None after reporting why not."""
    if not sheet.expect(["sex", header.axis, *header.columns], header.for_people):
        return None
    cells = _by_sex_and_day(sheet, header.axis, header.covers, header.columns)
    if cells is None:
        return None
    scale = scale_of(cell for sex in cells for day in sex for cell in day)
    printed = np.array([[scaled(day, scale) for day in sex] for sex in cells])
    for row in sheet.rows:
        values = [Decimal(row.cells[column]) for column in header.columns]
        if values != sorted(values):
            sheet.report(row.line, header.columns[0], "table-value", "the percentiles of a row must rise")
    percentiles = tuple(int(column[1:]) for column in header.columns)
    names = (sheet.name, header.label, header.unit, header.covers)
    edges = PercentileTable.edges_of(printed, percentiles)
    return PercentileTable(*names, percentiles, scale, printed, edges, header.source, header.status)


# --- steps of age, printed numbers, sanity points ---


def step_table(header: headers.StepsHeader, sheet: Sheet) -> StepTable | None:
    """Return steps of age, or None after reporting why not."""
    pairs = {name: (c, c) if isinstance(c, str) else c for name, c in header.columns.items()}
    axis, used = header.axis, sorted({column for pair in pairs.values() for column in pair})
    if not sheet.expect([axis.start, axis.end, *used], header.for_people):
        return None
    bounds = [_hours(row, header, sheet) for row in sheet.rows]
    cells = {column: [sheet.number(row, column) for row in sheet.rows] for column in used}
    if sheet.problems:
        return None
    _follow(bounds, sheet, axis.start)
    numbers = {column: [cell for cell in values if cell is not None] for column, values in cells.items()}
    scale = scale_of(cell for values in numbers.values() for cell in values)
    whole = {column: tuple(scaled(values, scale).tolist()) for column, values in numbers.items()}
    columns = {name: (whole[low], whole[high]) for name, (low, high) in pairs.items()}
    for name, (low, high) in columns.items():
        for row, least, most in zip(sheet.rows, low, high, strict=True):
            if least > most:
                sheet.report(row.line, pairs[name][0], "table-value", "the low end lies above the high end")
    starts = tuple(start for start, _ in bounds)
    names = (sheet.name, header.label, header.unit)
    return StepTable(*names, starts, bounds[-1][1], columns, scale, header.source, header.status)


def _hours(row: Row, header: headers.StepsHeader, sheet: Sheet) -> tuple[int, int]:
    start, end = sheet.whole(row, header.axis.start), sheet.whole(row, header.axis.end)
    if start is None or end is None:
        return 0, 0
    hours = (24 * (start - 1), 24 * end) if header.axis.unit == "day" else (start, end)
    if hours[0] >= hours[1]:
        sheet.report(row.line, header.axis.start, "table-value", "a step that ends before it begins")
    return hours


def _follow(bounds: Sequence[tuple[int, int]], sheet: Sheet, key: str) -> None:
    for (_, end), (start, _), row in zip(bounds, bounds[1:], sheet.rows[1:], strict=False):
        if start > end:
            sheet.report(row.line, key, "table-gap", f"the hours from {end} to {start} are not covered")
        if start < end:
            sheet.report(row.line, key, "table-overlap", f"the hours from {start} to {end} are covered twice")


def printed_table(header: headers.PrintedHeader, sheet: Sheet) -> PrintedTable | None:
    """Return rows that people read, or None after reporting why not."""
    if not sheet.expect([*header.keys, *header.columns], header.for_people):
        return None
    seen: dict[tuple[str, ...], int] = {}
    rows: list[Mapping[str, str | Fraction | None]] = []
    for row in sheet.rows:
        key = tuple(row.cells[k] for k in header.keys)
        if seen.setdefault(key, row.line) != row.line:
            sheet.report(row.line, header.keys[0], "table-overlap", f"these keys stand already on line {seen[key]}")
        cells: dict[str, str | Fraction | None] = {k: row.cells[k] for k in (*header.keys, *header.for_people)}
        for column in header.columns:
            number = sheet.number(row, column) if row.cells[column] else None
            cells[column] = None if number is None else Fraction(number)
        rows.append(cells)
    return PrintedTable(sheet.name, header.label, header.unit, tuple(rows), header.source, header.status)


def sanity_table(header: headers.SanityHeader, sheet: Sheet) -> SanityTable | None:
    """Return approximate points of figures, or None after reporting why not."""
    if not sheet.expect([*_LONG, "risk", "within", "otherwise"], header.for_people):
        return None
    points = tuple(point for row in sheet.rows if (point := _point(row, sheet)) is not None)
    return SanityTable(sheet.name, header.issuer, header.unit, points, header.source, header.status)


def _point(row: Row, sheet: Sheet) -> SanityPoint | None:
    risk = sheet.choice(row, "risk", _RISKS)
    otherwise = sheet.choice(row, "otherwise", ("refuse", "second-look"))
    age, value, within = (sheet.number(row, column) for column in ("age_hours", "value", "within"))
    weeks = row.cells["gestation_weeks"].removeprefix(">=")
    if not weeks.isdigit():
        sheet.report(row.line, "gestation_weeks", "table-value", f"{weeks!r} is not a number of weeks")
    if risk is None or otherwise is None or age is None or value is None or within is None or not weeks.isdigit():
        return None
    later = row.cells["gestation_weeks"].startswith(">=")
    numbers = (Fraction(age), Fraction(value), Fraction(within))
    return SanityPoint(row.cells["line"], cast("Risk", risk), int(weeks), later, *numbers, otherwise == "refuse")
