"""The rows of a CSV with their line numbers, and the mistakes found in them."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import PurePosixPath

import numpy as np
from numpy.typing import NDArray

from layette.engine.errors import PackProblem

_NUMBER = re.compile(r"[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]{1,2})?")
_LONGEST = 30
_MOST = 10**6
_FINEST = 10**6  # steps of a millionth: finer is a slip of a spreadsheet, and would not stay within int64


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file, and its cells by column name."""

    line: int
    cells: dict[str, str]


@dataclass(slots=True)
class Sheet:
    """A CSV without its ``#`` lines. ``problems`` grows as cells are read; nothing is raised."""

    file: str
    columns: tuple[str, ...] = ()
    rows: list[Row] = field(default_factory=list)
    problems: list[PackProblem] = field(default_factory=list)

    @property
    def name(self) -> str:
        """The table's name: the file's, without folder and ending."""
        return PurePosixPath(self.file).stem

    @classmethod
    def read(cls, text: str, file: str) -> Sheet:
        """Return the rows of ``text``; a row with too few or too many cells is a problem and left out.

        What a spreadsheet makes of a CSV is read too: a byte-order mark, semicolons, remarks in quotes, empty rows.
        """
        sheet, mark = cls(file), ","
        for line, content in enumerate(text.removeprefix("\ufeff").splitlines(), start=1):
            if not content.strip(",; \t") or content.lstrip('"').startswith("#"):
                continue
            if not sheet.columns and ";" in content and "," not in content:
                mark = ";"
            try:
                cells = next(csv.reader([content], delimiter=mark))
            except csv.Error:
                sheet.report(
                    line, "columns", "table-value", "this row cannot be read: a quote stays open or is too long"
                )
                continue
            sheet._take(line, cells)
        if not sheet.rows:
            sheet.report(1, "rows", "shape", "a table without rows")
        return sheet

    def _take(self, line: int, cells: list[str]) -> None:
        if not self.columns:
            self.columns = tuple(cell.strip() for cell in cells)
            if len(set(cells)) < len(cells):
                self.report(line, "columns", "shape", "a column name stands twice")
        elif len(cells) != len(self.columns):
            self.report(line, "columns", "shape", f"{len(cells)} cells where the head names {len(self.columns)}")
        else:
            self.rows.append(Row(line, dict(zip(self.columns, (c.strip() for c in cells), strict=True))))

    def report(self, line: int, key: str, code: str, message: str) -> None:
        """Keep one problem."""
        self.problems.append(PackProblem(self.file, line, key, code, message))

    def expect(self, wanted: Iterable[str], for_people: Iterable[str]) -> bool:
        """Return whether all columns that the header names are there; report those missing and those not named."""
        named, told = set(wanted), set(for_people)
        for column in sorted((named | told) - set(self.columns)):
            self.report(1, column, "shape", f"no column {column}; the header names it")
        for column in sorted(set(self.columns) - named - told):
            self.report(1, column, "shape", f"column {column} is not in the header; name it under for_people")
        return named <= set(self.columns)

    def number(self, row: Row, column: str) -> Decimal | None:
        """Return a cell as a finite number, or report it and return None."""
        text = row.cells[column]
        value = Decimal(text) if len(text) <= _LONGEST and _NUMBER.fullmatch(text) else None
        if value is None:
            hint = "; decimals have a point" if "," in text else ""
            self.report(row.line, column, "table-value", f"{text[:_LONGEST]!r} is not a number{hint}")
        elif abs(value) >= _MOST or scale_of([value]) > _FINEST:
            self.report(row.line, column, "table-value", f"{value} has more digits than a printed table")
        else:
            return value
        return None

    def whole(self, row: Row, column: str) -> int | None:
        """Return a cell as a whole number, or report it and return None."""
        value = self.number(row, column)
        if value is None or value == value.to_integral_value():
            return None if value is None else int(value)
        self.report(row.line, column, "table-value", f"{value} is not a whole number")
        return None

    def choice(self, row: Row, column: str, choices: Sequence[str]) -> str | None:
        """Return a cell that is one of ``choices``, or report it and return None."""
        if row.cells[column] in choices:
            return row.cells[column]
        self.report(row.line, column, "table-value", f"{row.cells[column]!r} is none of {', '.join(map(str, choices))}")
        return None


def scale_of(values: Iterable[Decimal]) -> int:
    """Return the power of ten that makes all values whole."""
    return int(10 ** max((max(0, -int(v.normalize().as_tuple().exponent)) for v in values), default=0))


def scaled(values: Sequence[Decimal], scale: int) -> NDArray[np.int64]:
    """Return the values in steps of ``1 / scale``, exactly."""
    return np.array([int(v * scale) for v in values], dtype=np.int64)
