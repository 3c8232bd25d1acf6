"""The columns of the tables of an audit, as `TABLES.md` words them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from layette.engine.cohort.coded import KnownStates
from layette.engine.cohort.counted import COUNTED

TIME = pa.timestamp("s", tz="UTC")
NAME = pa.dictionary(pa.int32(), pa.string())
"""Text that repeats."""
NAMES = pa.list_(pa.string())
GROUPS = ("clinic", "month", "birth_group")
_GROUPS = [(name, NAME) for name in GROUPS]

VISITS = pa.schema(
    [
        ("visit", pa.int64()), ("patient", pa.string()), ("encounter", pa.string()), ("source", NAME),
        ("line", pa.int32()), *_GROUPS, ("at", TIME), ("born", TIME), ("age_days", pa.int32()), ("sex", NAME),
        ("worst", NAME), ("due", pa.int32()), ("to_judge", NAMES), ("not_on_record", NAMES), ("to_chase", NAMES),
        ("outstanding", NAMES),
        ("outstanding_all", pa.int32()), ("added_worlds", pa.bool_()), ("record_end", TIME),
    ]
)  # fmt: skip
DUE = pa.schema(
    [
        ("visit", pa.int64()), *_GROUPS, ("episode", pa.int32()), ("lead", pa.bool_()), ("kind", NAME),
        ("target", NAME), ("side", NAME), ("subject", NAME), ("rule", NAME), ("status", NAME), ("rule_priority", NAME),
        ("priority", NAME), ("window_start", TIME), ("window_until", TIME), ("overdue", pa.bool_()),
        ("anchor", NAME), ("stood", pa.bool_()),
    ]
)  # fmt: skip
"""What was due, before it is matched with what was done: `recommendations` without its outcome."""
ACTS = pa.schema(
    [
        ("visit", pa.int64()), ("patient", pa.string()), ("kind", NAME), ("target", NAME), ("side", NAME),
        ("status", NAME), ("priority", NAME), ("time", TIME), ("time_to", TIME), ("until", TIME),
        ("reference", pa.string()), ("reason", pa.string()),
    ]
)  # fmt: skip
RULE_COUNTS = pa.schema([("rule", NAME), *_GROUPS, *((name, pa.int64()) for name in COUNTED)])
OPEN_BECAUSE = pa.schema([("rule", NAME), ("finding", NAME), ("clinic", NAME), ("visits", pa.int64())])
FLAT = pa.schema(
    [("visit", pa.int64()), ("source", NAME), ("line", pa.int32()), ("clinic", NAME), ("flat", pa.binary())]
)

PARTS = {
    "visits": VISITS, "due": DUE, "acts": ACTS, "open_parts": OPEN_BECAUSE, "flat": FLAT,
}  # fmt: skip
"""The tables of which each part writes a file of its own."""


def table(rows: Sequence[Sequence[Any]], schema: pa.Schema, made: Mapping[str, pa.Array] | None = None) -> pa.Table:
    """Return rows, each in the order of the columns, as a table; without the columns that are ``made`` already."""
    told = made or {}
    names = [name for name in schema.names if name not in told]
    columns = zip(*rows, strict=True) if rows else ([] for _ in names)
    given = dict(zip(names, columns, strict=True))
    arrays = [
        told[field.name] if field.name in told else pa.array(list(given[field.name]), field.type) for field in schema
    ]
    return pa.Table.from_arrays(arrays, schema=schema)


def lists(found: Sequence[tuple[str, NDArray[np.bool_]]], rows: int) -> pa.Array:
    """Return for each row the names of which it has the flag, in their order."""
    flags = np.array([flag for _, flag in found], bool).reshape(len(found), rows)
    row, name = np.nonzero(flags.T)
    offsets = np.searchsorted(row, np.arange(rows + 1)).astype(np.int32)
    names = pa.array([name for name, _ in found], pa.string()).take(pa.array(name, pa.int64()))
    return pa.ListArray.from_arrays(pa.array(offsets), names)


MEANINGS = b"layette.meanings"
"""Under what the meaning of each view stands in the file of `values`."""


def value_table(
    visits: Sequence[int], whole: Sequence[bool], known: KnownStates, meanings: Mapping[str, str]
) -> pa.Table:
    """Return the values of visits as a table with a column a view, in the order of ``meanings``."""
    arrays = [pa.array(visits, pa.int64()), pa.array(whole, pa.bool_())]
    for codes, names in map(known.named, range(len(meanings))):
        arrays.append(pa.DictionaryArray.from_arrays(pa.array(codes, mask=codes < 0), pa.array(names, pa.string())))
    made = pa.Table.from_arrays(arrays, names=["visit", "whole", *meanings])
    return made.replace_schema_metadata({MEANINGS: json.dumps(meanings)})


def status_table(visits: Sequence[int], rules: Iterable[str], codes: NDArray[np.uint8]) -> pa.Table:
    """Return the codes of rules (rows) at visits (columns) as a table with a column a rule."""
    columns = [pa.array(visits, pa.int64()), *(pa.array(row) for row in codes)]
    return pa.Table.from_arrays(columns, names=["visit", *rules])
