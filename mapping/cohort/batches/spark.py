"""The functions of this room on Spark, by `mapInArrow`: the same inputs give the same tables, on any cluster.

This machine reads the input and writes the tables; what is between them, and costs time, runs wherever Spark puts it.
So the executors need neither the files nor the pack, only the same Layette. Pack and key travel with the function.
"""

from __future__ import annotations

import os
import pickle
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from importlib.util import find_spec
from itertools import islice
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.compute as pc

from layette.engine.errors import InputError, InputProblem
from layette.mapping.cohort.batches.count import Count
from layette.mapping.cohort.batches.encode import INPUTS, Encode, inputs_of, made_of, tables_of
from layette.mapping.cohort.batches.parts import whole_parts
from layette.mapping.cohort.part import Part, PartWriter, Totals, keep

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession

Batches = Iterator[pa.RecordBatch]
NEEDED = ("pyspark", "pandas")
_TABLES = "part long, name string, table binary"
_ROUND = 4
"""Parts of one Spark job, for each core that Spark has."""
_MOST_PARTS = 160
"""Parts of one job at most: a part of 4,000 visits comes back as some 4 MB, and by default Spark gives back 1 GB."""
_ROWS = "spark.sql.execution.arrow.maxRecordsPerBatch"
_MOST_ROWS = 125_000

_KEPT: dict[bytes, Any] = {}
"""What a Python process of an executor has made of a pickle already: the last one."""


def session() -> SparkSession:
    """Return the session that there is, else a new one by Spark's own settings. Raises `InputError` without Spark."""
    if missing := [name for name in NEEDED if find_spec(name) is None]:
        message = f"`--engine spark` needs {' and '.join(missing)}, and Java beside it"
        problem = InputProblem("--engine", "setting", message, "spark", "pip install 'layette[audit,spark]'")
        raise InputError([problem])
    from pyspark.sql import SparkSession

    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    made = SparkSession.builder.appName("layette audit").getOrCreate()
    made.conf.set(_ROWS, str(max(_MOST_ROWS, int(made.conf.get(_ROWS) or 0))))
    return made


def encoded(parts: Iterable[Part], writer: PartWriter) -> Iterator[Totals]:
    """Read every part on Spark, write its files here, and yield its totals. Raises OSError, and what Spark raises."""
    spark, given = session(), pickle.dumps((writer.auditor.pack, writer.names))
    for held in _rounds(parts, spark):
        rows = pa.Table.from_batches([*inputs_of(held)], INPUTS)
        names = {part.number: part.name for part in held}
        for number, tables in tables_of(_mapped(spark, rows, len(held), _encoding(given), _TABLES)).items():
            yield keep(made_of(tables), writer.out, names[number])


def counted(count: Count, batches: Iterable[tuple[str, pa.RecordBatch]]) -> Iterator[tuple[str, pa.RecordBatch]]:
    """Count named batches on Spark, and yield the statuses of each. Raises what Spark raises."""
    spark, given = session(), pickle.dumps((count.pack, count.held))
    rules = [*count.codes.rules]
    wanted = ", ".join(["part long", "visit long", *(f"c{k} tinyint" for k in range(len(rules)))])
    for held in _rounds(batches, spark):
        numbered = [_numbered(k, batch) for k, (_, batch) in enumerate(held)]
        work = _counting(given, held[0][1].schema.names)
        made = _mapped(spark, pa.Table.from_batches(numbered), len(held), work, wanted)
        for k, (name, batch) in enumerate(held):
            mine = made.filter(pc.equal(made["part"], k)).drop_columns(["part"]).sort_by("visit")
            yield name, _as_codes(mine, rules)
            assert len(mine) == batch.num_rows


def _rounds(parts: Iterable[Any], spark: SparkSession) -> Iterator[list[Any]]:
    """Yield what goes into one job: this machine holds no more than that."""
    many, left = min(_MOST_PARTS, _ROUND * spark.sparkContext.defaultParallelism), iter(parts)
    while held := [*islice(left, many)]:
        yield held


def _mapped(
    spark: SparkSession, rows: pa.Table, parts: int, work: Callable[[Batches], Batches], wanted: str
) -> pa.Table:
    """Return what ``work`` makes of the rows: those of a part together, in their order."""
    given: DataFrame = spark.createDataFrame(rows)
    ordered = given.repartition(parts, "part").sortWithinPartitions("part", "visit")
    return ordered.mapInArrow(work, wanted).toArrow()


def _encoding(given: bytes) -> Callable[[Batches], Batches]:
    def work(batches: Batches) -> Batches:
        encode = _made(given, Encode)
        return (encode(batch) for batch in whole_parts(batches))

    return work


def _counting(given: bytes, names: Sequence[str]) -> Callable[[Batches], Batches]:
    """Return what counts batches whose columns have numbers: Spark means something else by the dots of a view."""

    def work(batches: Batches) -> Batches:
        count = _made(given, Count)
        for batch in whole_parts(batches):
            made = count(pa.record_batch(batch.columns[1:], names=names))
            signed = [column.cast(pa.int8()) for column in made.columns[1:]]
            arrays = [batch.column("part"), made.column("visit"), *signed]
            yield pa.record_batch(arrays, names=["part", *_numbers(made)])

    return work


def _numbers(batch: pa.RecordBatch) -> list[str]:
    """Return names for columns of which the first is ``visit``."""
    return ["visit", *(f"c{k}" for k in range(batch.num_columns - 1))]


def _made(given: bytes, kind: Callable[..., Any]) -> Any:
    """Return what a pickle stands for, made once in a process."""
    if given not in _KEPT:
        _KEPT.clear()
        _KEPT[given] = kind(*pickle.loads(given))
    return _KEPT[given]


def _numbered(number: int, batch: pa.RecordBatch) -> pa.RecordBatch:
    part = pa.array([number] * batch.num_rows, pa.int64())
    plain = [_plain(column) for column in batch.columns]
    return pa.record_batch([part, *plain], names=["part", *_numbers(batch)])


def _plain(column: pa.Array) -> pa.Array:
    """Return a column without a dictionary, which Spark does not take."""
    return column.dictionary_decode() if pa.types.is_dictionary(column.type) else column


def _as_codes(made: pa.Table, rules: Sequence[str]) -> pa.RecordBatch:
    arrays = [made["visit"], *(column.cast(pa.uint8()) for column in made.columns[1:])]
    return pa.record_batch([one.combine_chunks() for one in arrays], names=["visit", *rules])
