"""Counting an audit again by another pack, from the values of its views."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq

from layette.engine.api import Pack
from layette.engine.forked import shared_out
from layette.mapping.cohort import files
from layette.mapping.cohort.batches.count import Count
from layette.mapping.cohort.tables import MEANINGS

Shared = Callable[[Count, Iterable[tuple[str, pa.RecordBatch]]], Iterator[tuple[str, pa.RecordBatch]]]
"""What runs a `Count` over named batches elsewhere, and yields what comes of each, in any order."""


class Recount(NamedTuple):
    """How many visits were counted, how many of them one by one, and the views that want reading again."""

    visits: int
    one_by_one: int
    anew: tuple[str, ...]


def counter(out: Path, pack: Pack) -> Count:
    """Return the function that counts the visits of an audit by a pack. Raises OSError."""
    first = next(iter(sorted((out / "values").glob("part-*.parquet"))), None)
    meta = {} if first is None else pq.read_schema(first).metadata or {}
    return Count(pack, json.loads(meta.get(MEANINGS, b"{}")))


def held_of(out: Path, name: str, count: Count) -> pa.RecordBatch:
    """Return one part of an audit as a batch that `Count` takes, a visit as it was read only where it is wanted."""
    held = pq.read_table(out / "values" / name, columns=count.columns)
    flat: list[bytes | None] = [None] * len(held)
    alone = count.alone(held["whole"].to_pylist())
    if alone:
        told = pq.read_table(out / "flat" / name, columns=["flat"])["flat"]
        for k in alone:
            flat[k] = told[k].as_py()
    made = held.append_column("flat", pa.array(flat, pa.binary()))
    return pa.record_batch([column.combine_chunks() for column in made.columns], names=made.column_names)


def count_again(out: Path, pack: Pack, to: Path, workers: int = 1, shared: Shared | None = None) -> Recount:
    """Write the `statuses` of an audit's visits under another pack below ``to``. Raises OSError.

    ``shared``: what counts the parts, where it is not ``workers`` processes of this machine.
    """
    files.folder(files.folder(to) / "statuses")
    for left in (to / "statuses").glob("*.parquet"):
        left.unlink()
    count = counter(out, pack)
    parts = sorted(place.name for place in (out / "values").glob("part-*.parquet"))
    if shared is None:
        found = shared_out(lambda name: _written(name, count(held_of(out, name, count)), to), parts, workers)
    else:
        batches = ((name, held_of(out, name, count)) for name in parts)
        found = [_written(name, made, to) for name, made in shared(count, batches)]
    return Recount(sum(found), _alone(out, parts, count), count.anew)


def _written(name: str, made: pa.RecordBatch, to: Path) -> int:
    files.write_table(pa.Table.from_batches([made]), to / "statuses" / name)
    return len(made)


def _alone(out: Path, parts: Sequence[str], count: Count) -> int:
    """Return how many visits are counted one by one."""
    told = (pq.read_table(out / "values" / name, columns=["whole"])["whole"].to_pylist() for name in parts)
    return sum(len(count.alone(one)) for one in told)
