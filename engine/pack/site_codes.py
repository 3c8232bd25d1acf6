"""A site's own codes: `codes: local.csv` in the site file, with the columns system, code, finding, value, unit.

``value`` is filled where the code states one value by itself; ``unit`` (UCUM) where the site sends numbers under the
code without one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath

from layette.engine.errors import PackProblem
from layette.engine.pack.written.folder import text_of
from layette.engine.pack.written.shapes import FindingShape
from layette.engine.tables.sheet import Sheet

COLUMNS = ("system", "code", "finding", "value", "unit")


@dataclass(frozen=True, slots=True)
class LocalCode:
    """One local code and what it means: a finding, or one value of it."""

    system: str
    code: str
    finding: str
    value: str | None
    unit: str | None
    file: str
    line: int


def read_codes(place: FilePath, problems: list[PackProblem]) -> tuple[tuple[LocalCode, ...], str]:
    """Return the codes of a CSV and its text; mistakes go to ``problems``."""
    text = text_of(place, place.name, problems)
    if text is None:
        return (), ""
    sheet = Sheet.read(text, place.name)
    for column in COLUMNS:
        if column not in sheet.columns:
            sheet.report(1, column, "shape", f"a table of codes needs a column '{column}'")
    problems += sheet.problems
    if sheet.problems:
        return (), text
    codes = []
    for row in sheet.rows:
        system, code, finding, value, unit = (row.cells[column] for column in COLUMNS)
        codes.append(LocalCode(system, code, finding, value or None, unit or None, place.name, row.line))
    return tuple(codes), text


def check_codes(
    codes: tuple[LocalCode, ...], findings: Mapping[str, FindingShape], problems: list[PackProblem]
) -> None:
    """Report codes for findings, values or units that the pack does not have, and a code that stands twice."""
    seen: dict[tuple[str, str], int] = {}
    for local in codes:
        shape = findings.get(local.finding)
        if (local.system, local.code) in seen:
            first = seen[local.system, local.code]
            problems.append(_at_row(local, "code", "duplicate-id", f"this code stands already in line {first}"))
        seen.setdefault((local.system, local.code), local.line)
        if shape is None:
            problems.append(_at_row(local, "finding", "unknown-finding", f"the pack has no finding '{local.finding}'"))
        elif local.value is not None and local.value not in (shape.values or ()):
            known = ", ".join(shape.values or ())
            problems.append(_at_row(local, "value", "unknown-value", f"'{local.value}' is no value of it: {known}"))
        elif local.unit and (shape.number is None or local.unit not in {shape.number.unit, *shape.number.accepts}):
            problems.append(_at_row(local, "unit", "unknown-unit", f"'{local.unit}' is no unit of '{local.finding}'"))


def _at_row(local: LocalCode, key: str, code: str, message: str) -> PackProblem:
    return PackProblem(local.file, local.line, key, code, message)
