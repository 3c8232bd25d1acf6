"""Tables whose rows are rules: half-open rows, without gap or overlap, each a rule of its own.

A table answers as one lookup: where several rows may still match and all lead to one target, that target is certain at
the lowest priority among them. For that a further rule, `<stem>.any-<target>`, spans the rows of each target; it says
nothing where one of these rows fires itself (`resolve.gather`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from layette.engine.errors import PackProblem
from layette.engine.pack.written.folder import check_shape
from layette.engine.pack.written.rule_shapes import RowsHeader, RuleShape
from layette.engine.pack.written.written import ANY, Written
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.tables.sheet import Row, Sheet
from layette.engine.terms import PRIORITIES


@dataclass(frozen=True)
class _Band:
    """One row: its cells, and what it spans (None: open)."""

    row: Row
    low: Fraction | None
    high: Fraction | None


def row_rules(document: Document, text: str, problems: list[PackProblem]) -> list[Written]:
    """Return a rule for each row of the table with header ``document``, and one for each target that rows share."""
    header = check_shape(document, document.data, (), RowsHeader, problems)
    if header is None:
        return []
    sheet = Sheet.read(text, document.file.removesuffix(".yaml") + ".csv")
    named = [header.id, header.at_least, header.below, *header.columns.values()]
    for column in named:
        if column not in sheet.columns:
            sheet.report(1, column, "shape", f"the header names a column '{column}' that is not there")
    bands = [] if sheet.problems else list(_bands(header, sheet))
    made: list[RuleShape | None] = []
    lines: dict[str, int] = {}
    if not sheet.problems:  # a number that cannot be read would only leave gaps
        _check(bands, sheet)
        shapes = [*_rules(header, bands, sheet), *_lookups(header, bands, sheet)]
        lines = {shape["id"]: line for shape, line in shapes}
        made = [check_shape(document, shape, (), RuleShape, sheet.problems) for shape, _ in shapes]
    problems += sheet.problems
    return [_written(shape, document, lines[shape.id]) for shape in made if shape is not None]


def _written(shape: RuleShape, document: Document, line: int) -> Written:
    """A row stands in the CSV: its place is there, its problems too."""
    place = Document(document.file.removesuffix(".yaml") + ".csv", lines={(): line})
    return Written(shape, place, (), document.file)


def _bands(header: RowsHeader, sheet: Sheet) -> Iterator[_Band]:
    for row in sheet.rows:
        ends: list[Fraction | None] = []
        for column in (header.at_least, header.below):
            value = sheet.number(row, column) if row.cells[column] else None
            ends.append(None if value is None else Fraction(value))
        yield _Band(row, ends[0], ends[1])


def _check(bands: list[_Band], sheet: Sheet) -> None:
    """Report rows that span nothing, that overlap, or that leave a number uncovered between them."""
    ordered = sorted(bands, key=lambda band: (band.low is not None, band.low or 0))
    for band in ordered:
        if band.low is not None and band.high is not None and band.low >= band.high:
            sheet.report(band.row.line, "row", "table-value", "the row ends where or before it begins")
    for before, after in pairwise(ordered):
        end, start = before.high, after.low
        if end is None or start is None or start < end:
            sheet.report(after.row.line, "row", "table-overlap", f"this row overlaps the one in line {before.row.line}")
        elif start > end:
            message = f"nothing covers {float(end):g} to {float(start):g}, between this row and line {before.row.line}"
            sheet.report(after.row.line, "row", "table-gap", message)


Shaped = tuple[dict[str, Any], int]


def _rules(header: RowsHeader, bands: list[_Band], sheet: Sheet) -> Iterator[Shaped]:
    for band in bands:
        cell = {key: band.row.cells[column] for key, column in header.columns.items()}
        consequence = {
            header.verb: cell.get("target") or header.target,
            "priority": cell.get("priority") or header.priority,
            "within": cell.get("within") or header.within,
        }
        title = cell.get("title") or f"{header.title}, {band.row.cells[header.id]}"
        because = cell.get("because") or header.because
        name, spans = band.row.cells[header.id], [_bounds(band.low, band.high)]
        yield _shape(header, sheet, name, title, because, spans, consequence), band.row.line


def _lookups(header: RowsHeader, bands: list[_Band], sheet: Sheet) -> Iterator[Shaped]:
    """Yield, for each target of some rows but not of all, the rule that spans them."""
    target_column, priority_column = header.columns.get("target"), header.columns.get("priority")
    groups: dict[str, list[_Band]] = {}
    for band in sorted(bands, key=lambda b: (b.low is not None, b.low or 0)):
        target = (band.row.cells[target_column] if target_column else "") or header.target or ""
        groups.setdefault(target, []).append(band)
    for target, rows in groups.items():
        if len(rows) < 2 or len(rows) == len(bands) or not target:
            continue
        said = [(b.row.cells[priority_column] if priority_column else "") or header.priority for b in rows]
        ranks = [PRIORITIES.index(priority) for priority in said if priority in PRIORITIES]
        consequence = {header.verb: target, "priority": PRIORITIES[max(ranks)] if ranks else None}
        name, title = ANY + target.replace("_", "-"), f"{header.title}, whichever row it is"
        spans = [_bounds(band.low, band.high) for band in rows]
        yield _shape(header, sheet, name, title, header.because, spans, consequence), rows[0].row.line


def _bounds(low: Fraction | None, high: Fraction | None) -> dict[str, float]:
    return {key: float(end) for key, end in (("at_least", low), ("below", high)) if end is not None}


def _shape(
    header: RowsHeader,
    sheet: Sheet,
    name: str,
    title: str,
    because: str,
    spans: list[dict[str, float]],
    consequence: dict[str, Any],
) -> dict[str, Any]:
    shape = {
        "id": f"{sheet.name}.{name}",
        "title": title,
        "applies_when": header.applies_when,
        "when": {**(header.when or {}), "any": [{header.subject: span} for span in spans]},
        "then": [{key: value for key, value in consequence.items() if value is not None}],
        "because": because,
        "source": header.source,
        "reviewed": header.reviewed,
        "note": header.edges,
    }
    return {key: value for key, value in shape.items() if value is not None}
