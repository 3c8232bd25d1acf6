"""A table of findings, CSV or Parquet, as visits: what its columns mean stands in a file beside it.

visit: {patient: mrn, encounter: visit_no, clinic: site, at: seen_at, born: born_at, sex_at_birth: sex}
sexes: {F: female, M: male}      # their words for the sex at birth
offset: "-06:00"                 # of times that have none
wide:                            # a row a visit: our finding, their column
  weight: {column: wt, unit: g}
  red_reflex.left: {column: rr_l, values: {N: present, A: absent}}
long:                            # or a row a finding: their columns, and what is in the first of them
  finding: test
  value: result
  unit: units
  time: taken_at
  findings: {WT: weight, BILI: {finding: serum_bilirubin, unit: mg/dL}}
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Any, Literal

import duckdb
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
from layette.engine.exact.units import taken
from layette.engine.shape_words import mistakes
from layette.mapping.intake import parse
from layette.mapping.many.sources import Item
from layette.mapping.read.codes.answers import coarse_values

ENDINGS = (".csv", ".parquet")
_PARTS = ("patient", "encounter", "clinic", "at", "until", "born", "sex_at_birth")
_TIMES = ("at", "until", "born")
_MEMORY = "1GB"
_FETCHED = 2_000
_ROW = "the number of the row"
"""The name of a column of our own beside theirs."""
_OFFSET = re.compile(r"([+-]\d\d)$")
_HAS_OFFSET = re.compile(r"(Z|[+-]\d\d:\d\d)$")


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Meant(_Shape):
    """What a column, or a code in one, means: a finding with its unit, and our words for its values."""

    column: str = ""
    finding: str = ""
    unit: str | None = None
    values: dict[str, str] = Field(default_factory=dict)


class Long(_Shape):
    """The columns of a table with a row a finding."""

    finding: str
    value: str
    unit: str | None = None
    time: str | None = None
    findings: dict[str, str | Meant]


class Columns(_Shape):
    """What the columns of a table mean."""

    visit: dict[str, str]
    sexes: dict[str, Literal["female", "male", "unknown", "other"]] = Field(default_factory=dict)
    offset: str = ""
    wide: dict[str, Meant] = Field(default_factory=dict)
    long: Long | None = None

    @property
    def used(self) -> list[str]:
        """The columns that are read."""
        long = [] if self.long is None else [self.long.finding, self.long.value, self.long.unit, self.long.time]
        return [*dict.fromkeys([*self.visit.values(), *(m.column for m in self.wide.values()), *filter(None, long)])]


def table_visits(place: Path, columns: str | None, pack: Pack, scratch: Path) -> Iterator[Item]:
    """Yield the visits of a table. Raises `InputError` with all that does not fit in ``columns``, OSError."""
    meant = _meant(columns, pack)
    with duckdb.connect(config={"memory_limit": _MEMORY, "temp_directory": str(scratch)}) as db:
        name = str(place).replace("'", "''")
        read = "read_parquet" if place.suffix.lower() == ".parquet" else "read_csv"
        source = f"{read}('{name}'{'' if read == 'read_parquet' else ', all_varchar = true, header = true'})"
        there = [row[0] for row in db.execute(f"DESCRIBE SELECT * FROM {source}").fetchall()]
        missing = [name for name in meant.used if name not in there]
        if missing:
            _refuse([("--columns", "no such column in the table", ", ".join(missing), ", ".join(there))])
        key = [meant.visit[part] for part in ("patient", "encounter", "at") if part in meant.visit]
        chosen = ", ".join(f"CAST({_name(one)} AS VARCHAR) AS {_name(one)}" for one in meant.used)
        numbered = f"SELECT row_number() OVER () AS {_name(_ROW)}, {chosen} FROM {source}"
        reader = db.execute(f"{numbered} ORDER BY {', '.join(map(_name, (*key, _ROW)))}")
        rows = iter(lambda: reader.fetchmany(_FETCHED), [])
        told = (dict(zip((_ROW, *meant.used), row, strict=True)) for some in rows for row in some)
        above = 0 if read == "read_parquet" else 1  # the names of the columns
        for _, group in groupby(told, key=lambda row: [row[one] for one in key]):
            of_visit = list(group)
            content = json.dumps(_visit(of_visit, meant), ensure_ascii=False).encode()
            yield Item(content, str(place), of_visit[0][_ROW] + above)


def _name(column: str) -> str:
    return '"' + column.replace('"', '""') + '"'


def _meant(columns: str | None, pack: Pack) -> Columns:
    """Read the file of columns, and hold it to the pack."""
    if columns is None:
        _refuse([("--columns", "a table needs a file that says what its columns mean", "", "--columns FILE (YAML)")])
    assert columns is not None
    data = _parsed(columns)
    try:
        meant = Columns.model_validate(data)
    except ValidationError as error:
        found = [(".".join(map(str, place)) or "$", words) for place, words, _ in mistakes(error, data, Columns, {})]
        _refuse([(f"{columns}: {at}", words, "", "see `mapping/cohort/TABLES.md`") for at, words in found])
    wrong = [name for name in meant.visit if name not in _PARTS]
    lacking = [name for name in ("patient", "at", "born") if name not in meant.visit]
    names = [*meant.wide, *(one if isinstance(one, str) else one.finding for one in _codes(meant).values())]
    unknown = [name for name in names if name.partition(".")[0] not in pack.findings]
    problems = [
        *((f"{columns}: visit.{name}", "no such part of a visit", name, ", ".join(_PARTS)) for name in wrong),
        *((f"{columns}: visit.{name}", "every visit needs it", "", f"{name}: COLUMN") for name in lacking),
        *((f"{columns}: {name}", "no such finding in the pack", name, "`layette findings`") for name in unknown),
    ]
    if not problems:
        problems = [(f"{columns}: {at}", what, value, right) for at, what, value, right in _unfit(meant, pack)]
    if problems:
        _refuse(problems)
    return meant


def _parsed(columns: str) -> Any:
    try:
        return parse(Path(columns).read_bytes())
    except InputError as error:
        raise InputError([replace(one, path=f"{columns}: {one.path}") for one in error.problems]) from None


def _unfit(meant: Columns, pack: Pack) -> Iterator[tuple[str, str, str, str]]:
    """Yield what no row could be read by: a unit or a value that the finding does not have."""
    told = [(f"wide.{name}", name, one) for name, one in meant.wide.items()]
    long = [(f"long.findings.{code}", one) for code, one in _codes(meant).items() if isinstance(one, Meant)]
    for at, name, one in (*told, *((at, one.finding, one) for at, one in long)):
        shape = pack.findings[name.partition(".")[0]]
        units = taken((shape.number.unit, *shape.number.accepts)) if shape.number else ()
        if one.unit and one.unit not in units:
            right = ", ".join(sorted(units)) or "no unit: it has named values"
            yield f"{at}.unit", "a unit that this finding does not have", one.unit, right
        values = (*(shape.values or ()), *coarse_values(shape))
        for word, value in one.values.items() if shape.values else ():
            if value not in values:
                yield f"{at}.values.{word}", "no value of this finding", value, ", ".join(values)


def _codes(meant: Columns) -> Mapping[str, str | Meant]:
    return meant.long.findings if meant.long else {}


def _refuse(problems: Sequence[tuple[str, str, str, str]]) -> None:
    raise InputError([InputProblem(path, "setting", message, value, right) for path, message, value, right in problems])


def _visit(rows: Sequence[Mapping[str, Any]], meant: Columns) -> dict[str, Any]:
    """Return the rows of one visit as a flat visit; what does not fit is left for reading to refuse."""
    flat: dict[str, Any] = {}
    for part, column in meant.visit.items():
        value = rows[0][column]
        if value is not None:
            flat[part] = _time(value, meant) if part in _TIMES else value
    if "sex_at_birth" in flat:
        flat["sex_at_birth"] = meant.sexes.get(flat["sex_at_birth"], flat["sex_at_birth"])
    if flat.get("patient"):
        flat["patient"] = f"Patient/{flat['patient']}"
    if flat.get("encounter"):
        flat["encounter"] = f"Encounter/{flat['encounter']}"
    findings: dict[str, list[Any]] = {}
    for row in rows:
        for name, item in (*_wide(row, meant), *_long(row, meant)):
            if item not in findings.setdefault(name, []):
                findings[name].append(item)
    return flat | {"findings": findings}


def _wide(row: Mapping[str, Any], meant: Columns) -> Iterator[tuple[str, Any]]:
    for name, one in meant.wide.items():
        value = row[one.column]
        if value is not None:
            yield name, _item(value, one, one.unit, None)


def _long(row: Mapping[str, Any], meant: Columns) -> Iterator[tuple[str, Any]]:
    long = meant.long
    code, value = (None, None) if long is None else (row[long.finding], row[long.value])
    if long is None or code is None or value is None or code not in long.findings:
        return
    one = long.findings[code]
    one = Meant(finding=one) if isinstance(one, str) else one
    unit = (row[long.unit] if long.unit else None) or one.unit
    time = row[long.time] if long.time else None
    yield one.finding, _item(value, one, unit, None if time is None else _time(time, meant))


def _item(value: str, one: Meant, unit: str | None, time: str | None) -> dict[str, str]:
    item = {"value": one.values.get(value, value)}
    return item | ({"unit": unit} if unit else {}) | ({"time": time} if time else {})


def _time(value: str, meant: Columns) -> str:
    """Return a time as ISO 8601, with the offset of the table where it has none; a day stays a day."""
    text = _OFFSET.sub(r"\1:00", value.strip().replace(" ", "T", 1)) if len(value.strip()) > 10 else value.strip()
    return text if len(text) <= 10 or _HAS_OFFSET.search(text) else text + meant.offset
