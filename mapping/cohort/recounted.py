"""Counting again from the tables: by other groups, of another period."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from numpy.typing import NDArray

from layette.engine.cohort.counted import COUNTED, tally
from layette.engine.errors import InputError, InputProblem
from layette.mapping.cohort import files
from layette.mapping.cohort.tables import GROUPS

GROUPABLE = (*GROUPS, "sex", "age_days", "worst")


def count_rules(
    out: Path,
    groups: Sequence[str] = GROUPS,
    period: tuple[str | None, str | None] = (None, None),
    other: Path | None = None,
) -> int:
    """Write `rule_counts` anew from `statuses` and `visits`, and return how many visits it counts.

    Args:
        out: the folder of the audit.
        groups: columns of `visits`, of `GROUPABLE`.
        period: the first and the last month that count, such as `2026-01`; None: open.
        other: the folder of the statuses under another pack, where `rule_counts` goes too; None: the audit's own.

    Raises InputError for a group that there is not, OSError.
    """
    to = out if other is None else other
    wrong = [name for name in groups if name not in GROUPABLE]
    if wrong:
        raise InputError([InputProblem("--by", "setting", "no such group", ", ".join(wrong), ", ".join(GROUPABLE))])
    keys: dict[tuple[Any, ...], int] = {}
    rules: list[str] = []
    sums: NDArray[np.int64] = np.zeros((0, 0, len(COUNTED)), np.int64)
    counted = 0
    for place in sorted((to / "statuses").glob("part-*.parquet")):
        codes = pq.read_table(place)
        numbers, kept = _groups(out / "visits" / place.name, groups, period, keys)
        if not rules:
            rules = [name for name in codes.column_names if name != "visit"]
        sums = _grown(sums, len(rules), len(keys))
        for row, rule in enumerate(rules if len(numbers) else ()):
            sums[row] += tally(codes[rule].to_numpy()[kept], numbers, len(keys))
        counted += len(numbers)
    made = _table(rules, list(keys), groups, sums)
    files.write_table(made, files.folder(to / "rule_counts") / "all.parquet")
    return counted


def _groups(
    place: Path, groups: Sequence[str], period: tuple[str | None, str | None], keys: dict[tuple[Any, ...], int]
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return the number of the group of each visit that counts, and which visits do; new groups are numbered."""
    visits = pq.read_table(place, columns=list({*groups, "month"}))
    months = visits["month"].to_pylist()
    first, last = period
    kept = np.array([(first is None or m >= first) and (last is None or m <= last) for m in months], bool)
    if not groups:
        keys.setdefault((), 0)
        return np.zeros(int(kept.sum()), np.int64), kept
    columns = [visits.filter(pa.array(kept))[name].to_pylist() for name in groups]
    return np.array([keys.setdefault(key, len(keys)) for key in zip(*columns, strict=True)], np.int64), kept


def _grown(sums: NDArray[np.int64], rules: int, groups: int) -> NDArray[np.int64]:
    made = np.zeros((rules, groups, len(COUNTED)), np.int64)
    made[: sums.shape[0], : sums.shape[1]] = sums
    return made


def _table(
    rules: Sequence[str], keys: Sequence[tuple[Any, ...]], groups: Sequence[str], sums: NDArray[np.int64]
) -> pa.Table:
    """Return a row a rule and group that has visits, in order."""
    order = sorted(range(len(keys)), key=lambda k: tuple((value is not None, str(value)) for value in keys[k]))
    columns = [pa.array(np.repeat(np.array(rules, object), len(order)), pa.string()).dictionary_encode()]
    for n in range(len(groups)):
        values = pa.array([keys[k][n] for k in order] * len(rules))
        columns.append(values.dictionary_encode() if pa.types.is_string(values.type) else values)
    flat = sums[:, order].reshape(-1, len(COUNTED))
    columns += [pa.array(flat[:, n]) for n in range(len(COUNTED))]
    made = pa.Table.from_arrays(columns, names=["rule", *groups, *COUNTED])
    return made.filter(pc.greater(made["visits"], 0))
