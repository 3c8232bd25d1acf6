"""What another pack would change: every visit of an audit once more, as it was read, by the other pack."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq

from layette.engine.api import Pack
from layette.engine.cohort.due import NOT_ON_RECORD, DueRow
from layette.engine.errors import LayetteError
from layette.engine.forked import shared_out
from layette.engine.terms import ASKED, PRIORITIES
from layette.mapping.cohort import files
from layette.mapping.cohort.one_visit import Audited, Auditor
from layette.mapping.cohort.tables import GROUPS, NAME, TIME, table

CHANGES = pa.schema(
    [
        ("visit", pa.int64()), *((name, NAME) for name in GROUPS), ("rule", NAME), ("kind", NAME), ("target", NAME),
        ("side", NAME), ("direction", NAME), ("priority", NAME), ("other_priority", NAME), ("until", TIME),
        ("other_until", TIME), ("changes_act", pa.bool_()),
    ]
)  # fmt: skip
"""A row a visit and rule whose reason for a target is another one; ``changes_act``: so is what is asked for."""

Key = tuple[str, str, str, str | None]
"""Rule, kind, target, side."""


class Reason(NamedTuple):
    """Why something is asked for: how pressing, and by when (UTC second)."""

    priority: str
    until: int | None


class Compared(NamedTuple):
    """How many visits there are, at how many some act changes, and how many the other pack does not read."""

    visits: int
    changed: int
    unread: int


def compare(out: Path, other: Pack, workers: int = 1) -> Compared:
    """Write `changes` beside the tables of an audit, and return how many visits would change. Raises OSError."""
    folder = files.folder(out / "changes")
    for left in folder.glob("*.parquet"):
        left.unlink()
    parts = sorted(place.name for place in (out / "flat").glob("part-*.parquet"))
    auditor = Auditor(other)
    found = shared_out(lambda name: _part(out, name, auditor), parts, workers)
    return Compared(*(sum(one[k] for one in found) for k in range(len(Compared._fields))))


def _part(out: Path, name: str, auditor: Auditor) -> Compared:
    before = _before(out / "due" / name)
    columns = ["visit", *GROUPS]
    groups = {row["visit"]: tuple(row[g] for g in GROUPS) for row in _rows(out / "visits" / name, columns)}
    changes: list[tuple[Any, ...]] = []
    read: dict[int, Audited] = {}
    flats = _rows(out / "flat" / name, ["visit", "flat"])
    for row in flats:
        with suppress(LayetteError):
            read[row["visit"]] = auditor.of(json.loads(row["flat"]), None)
    due = auditor.due(read.values())
    for place, visit in enumerate(read):
        now = reasons(due.at(place).rows)
        changes += [(visit, *groups[visit], *one) for one in differing(before.get(visit, {}), now)]
    files.write_table(table(changes, CHANGES), out / "changes" / name)
    return Compared(len(flats), len({one[0] for one in changes if one[-1]}), len(flats) - len(read))


def _rows(place: Path, columns: list[str]) -> list[dict[str, Any]]:
    made: list[dict[str, Any]] = pq.read_table(place, columns=columns).to_pylist()
    return made


def _before(place: Path) -> dict[int, dict[Key, Reason]]:
    """Return the reasons of each visit as they were audited."""
    found: dict[int, dict[Key, Reason]] = {}
    for row in pq.read_table(place).to_pylist():
        if row["kind"] in ASKED and row["status"] != NOT_ON_RECORD:
            end = row["window_until"]
            key = (row["rule"], row["kind"], row["target"], row["side"])
            made = Reason(row["rule_priority"], None if end is None else int(end.timestamp()))
            found.setdefault(row["visit"], {})[key] = made
    return found


def reasons(rows: Iterable[DueRow]) -> dict[Key, Reason]:
    """Return the reasons for what is asked for at one visit."""
    asked = (row for row in rows if row.kind in ASKED and row.status != NOT_ON_RECORD)
    return {(row.rule, row.kind, row.target, row.side): Reason(row.rule_priority, row.until) for row in asked}


def differing(before: Mapping[Key, Reason], now: Mapping[Key, Reason]) -> Iterator[tuple[Any, ...]]:
    """Yield what differs, in the columns of `CHANGES` from ``rule`` on."""
    acts = _acts(before), _acts(now)
    for key in sorted(before.keys() | now.keys(), key=repr):
        old, new = before.get(key), now.get(key)
        if old != new:
            act = key[1:]
            yield (
                *key, direction(old, new), old and old.priority, new and new.priority, old and old.until,
                new and new.until, acts[0].get(act) != acts[1].get(act),
            )  # fmt: skip


def direction(old: Reason | None, new: Reason | None) -> str:
    """Return how a reason differs: gained, lost, more or less pressing, else sooner or later."""
    if old is None or new is None:
        return "gained" if old is None else "lost"
    if old.priority != new.priority:
        more = PRIORITIES.index(new.priority) < PRIORITIES.index(old.priority)
        return "more pressing" if more else "less pressing"
    return "sooner" if new.until is not None and (old.until is None or new.until < old.until) else "later"


def _acts(found: Mapping[Key, Reason]) -> dict[tuple[str, str, str | None], tuple[int, int]]:
    """Return what is asked for: of each act how pressing, and the earliest end."""
    made: dict[tuple[str, str, str | None], tuple[int, int]] = {}
    for key, reason in found.items():
        rank, end = PRIORITIES.index(reason.priority), 1 << 62 if reason.until is None else reason.until
        known = made.get(key[1:], (rank, end))
        made[key[1:]] = (min(known[0], rank), min(known[1], end))
    return made
