"""Inputs to tables, as one function from a RecordBatch to a RecordBatch, for Spark, Polars and DuckDB alike."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

import pyarrow as pa

from layette.engine.api import Pack
from layette.mapping.cohort.one_visit import Auditor
from layette.mapping.cohort.part import Made, Part, PartReader, Totals
from layette.mapping.cohort.pseudonyms import Pseudonyms
from layette.mapping.many.sources import Item

INPUTS = pa.schema(
    [
        ("part", pa.int64()), ("visit", pa.int64()), ("source", pa.string()), ("line", pa.int32()),
        ("encounter", pa.string()), ("content", pa.binary()),
    ]
)  # fmt: skip
"""A row an input, by part and number: its file and line, which encounter is meant (null: the only one), its bytes."""
TABLES = pa.schema([("part", pa.int64()), ("name", pa.string()), ("table", pa.binary())])
"""A row a table of a part: its name as in `TABLES.md`, and the table as an Arrow stream."""
REJECTED, TOTALS = "rejected", "totals"
_COMPRESSED = pa.ipc.IpcWriteOptions(compression="zstd")


def inputs_of(parts: list[Part]) -> Iterator[pa.RecordBatch]:
    """Yield each part as a batch of `INPUTS`."""
    for part in parts:
        rows = [
            (part.number, part.first + k, one.source, one.line, one.encounter, one.content)
            for k, one in enumerate(part.items)
        ]
        columns = zip(*rows, strict=True)
        arrays = [pa.array(column, field.type) for column, field in zip(columns, INPUTS, strict=True)]
        yield pa.record_batch(arrays, schema=INPUTS)


class Encode:
    """Reads visits by one pack: a batch of `INPUTS` to a batch of `TABLES`.

    Each part of a batch is read by itself, all its visits once more by planes; a batch without that column is one part.
    A batch needs ``content`` alone: visits are then numbered from 0, and broken ones told without their place.
    """

    def __init__(self, pack: Pack, names: Pseudonyms | None = None) -> None:
        """Read by ``pack``; ``names``: the keyed hash, None where names stay."""
        self.reader = PartReader(Auditor(pack), names)

    def __call__(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Return the tables of each part of a batch. Raises `ReadersDisagree`."""
        rows = [row for part in _parts(batch) for row in _packed(part.number, self.reader.read(part))]
        columns = zip(*rows, strict=True) if rows else ([] for _ in TABLES)
        return pa.record_batch(
            [pa.array(column, field.type) for column, field in zip(columns, TABLES, strict=True)], schema=TABLES
        )


def _parts(batch: pa.RecordBatch) -> Iterator[Part]:
    for number, rows in groupby(batch.to_pylist(), key=lambda row: row.get("part", 0)):
        held = list(rows)
        items = tuple(
            Item(row["content"], row.get("source") or "", row.get("line"), encounter=row.get("encounter"))
            for row in held
        )
        yield Part(number, held[0].get("visit", 0), items)


def _packed(part: int, made: Made) -> Iterator[tuple[int, str, bytes]]:
    told = pa.table({"line": pa.array(made.rejected, pa.string())})
    totals = pa.table({name: [count] for name, count in vars(made.totals).items()})
    for name, table in {**made.tables, REJECTED: told, TOTALS: totals}.items():
        sink = pa.BufferOutputStream()
        with pa.ipc.new_stream(sink, table.schema, options=_COMPRESSED) as stream:
            stream.write_table(table)
        yield part, name, sink.getvalue().to_pybytes()


def tables_of(made: pa.RecordBatch | pa.Table) -> dict[int, dict[str, pa.Table]]:
    """Return the tables of each part in rows of `TABLES`, by part and name."""
    found: dict[int, dict[str, pa.Table]] = {}
    for row in made.to_pylist():
        with pa.ipc.open_stream(row["table"]) as stream:
            found.setdefault(row["part"], {})[row["name"]] = stream.read_all()
    return found


def made_of(tables: dict[str, pa.Table]) -> Made:
    """Return what is to be written of a part, from its tables."""
    kept = dict(tables)
    rejected, [totals] = kept.pop(REJECTED)["line"].to_pylist(), kept.pop(TOTALS).to_pylist()
    return Made(kept, rejected, Totals(**totals))
