"""Parts of a cohort kept whole, wherever whoever moves batches has cut them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pyarrow as pa
import pyarrow.compute as pc


def whole_parts(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """Yield each part as one batch: the rows that follow each other with one value in the column ``part``."""
    held: list[pa.RecordBatch] = []
    for batch in batches:
        for piece in _pieces(batch):
            if held and held[0].column("part")[0] != piece.column("part")[0]:
                yield joined(held)
                held = []
            held.append(piece)
    if held:
        yield joined(held)


def _pieces(batch: pa.RecordBatch) -> Iterator[pa.RecordBatch]:
    """Yield the runs of one part in a batch."""
    begin = 0
    for end in pc.run_end_encode(batch.column("part")).run_ends.to_pylist():
        yield batch.slice(begin, end - begin)
        begin = end


def joined(held: list[pa.RecordBatch]) -> pa.RecordBatch:
    """Return batches as one."""
    whole = pa.Table.from_batches(held).combine_chunks()
    return pa.record_batch([column.combine_chunks() for column in whole.columns], schema=whole.schema)
