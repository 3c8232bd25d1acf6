"""The columns of the tables of an audit, as `TABLES.md` words them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from itertools import compress
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from layette.engine.answer.resolved.grounds import FAR
from layette.engine.cohort.coded import KnownStates
from layette.engine.cohort.counted import COUNTED
from layette.engine.cohort.many import Due
from layette.engine.cohort.spans import KNOWN, OPEN
from layette.engine.cohort.together import SAID
from layette.engine.terms import PRIORITIES
from layette.mapping.cohort.groups import Groups

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


def due_table(due: Due, numbers: Sequence[int], groups: Sequence[Groups]) -> pa.Table:
    """Return the rows of what was due by visit and episode; ``numbers`` and ``groups`` are those of the visits."""
    told = [(visit, row) for visit, rows in due.rows.items() for row in rows]
    apart = table([(numbers[visit], *groups[visit], *row) for visit, row in told], DUE)
    both = pa.concat_tables([_in_columns(due, numbers, groups), apart]).unify_dictionaries().combine_chunks()
    visit = np.concatenate([due.columns.visit, np.array([visit for visit, _ in told], np.int64)])
    episode = np.concatenate([due.columns.episode, np.array([row.episode for _, row in told], np.int64)])
    return both.take(pa.array(np.lexsort((episode, visit))))


def due_of_visits(due: Due) -> dict[str, pa.Array]:
    """Return the columns of `VISITS` that tell what was due."""
    worst, number = due.asked
    visits = range(due.visits)
    return {
        "worst": pa.array(worst, pa.string()).dictionary_encode().cast(NAME),
        "due": pa.array(number, pa.int32()),
        "to_judge": pa.array([due.to_judge.get(visit, ()) for visit in visits], NAMES),
        "not_on_record": pa.array(due.not_on_record, NAMES),
        "to_chase": pa.array([due.to_chase_at(visit) for visit in visits], NAMES),
        "added_worlds": pa.array([due.added_worlds(visit) for visit in visits], pa.bool_()),
    }


def _in_columns(due: Due, numbers: Sequence[int], groups: Sequence[Groups]) -> pa.Table:
    rows, laid = due.columns, due.laid
    places = [one.place for one in laid.proposals]
    subjects = [laid.plan.pack.targets[target].subject for _, target, _ in places]
    priority = _named(rows.rank, PRIORITIES)
    columns = [
        pa.array(np.array(numbers, np.int64)[rows.visit]),
        *(_named(rows.visit, [one[k] for one in groups]) for k in range(len(GROUPS))),
        pa.array(rows.episode, pa.int32()),
        pa.array(np.ones(len(rows.visit), bool)),
        *(_named(rows.proposal, names) for names in (*zip(*places, strict=True), subjects)),
        _named(rows.rule, laid.rules),
        _named(rows.said, SAID),
        priority,
        priority,
        pa.array(rows.start, mask=rows.start == OPEN).cast(TIME),
        pa.array(rows.until, mask=rows.until == FAR).cast(TIME),
        pa.array(rows.overdue),
        _named(np.where(rows.missing == KNOWN, len(laid.missing), rows.missing), [*laid.missing, None]),
        pa.array(np.zeros(len(rows.visit), bool)),
    ]
    return pa.Table.from_arrays(columns, schema=DUE)


def _named(numbers: NDArray[np.int64], names: Sequence[str | None]) -> pa.Array:
    """Return the name of each number, None or empty for none; names that none has are left out."""
    there = np.zeros(len(names), bool)
    there[numbers] = True
    used = list(dict.fromkeys(name for name in compress(names, there) if name))
    place = {name: k for k, name in enumerate(used)}
    codes = np.array([place[name] if there[k] and name else -1 for k, name in enumerate(names)], np.int32)[numbers]
    return pa.DictionaryArray.from_arrays(pa.array(codes, mask=codes < 0), pa.array(used, pa.string()))
