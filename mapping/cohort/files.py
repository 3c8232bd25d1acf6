"""The files of an audit: each is there whole or not at all, and for its owner alone."""

from __future__ import annotations

import contextlib
import json
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

UNFINISHED = ".unfinished"


def folder(place: Path) -> Path:
    """Make a folder for its owner alone, if it is not there."""
    place.mkdir(mode=0o700, parents=True, exist_ok=True)
    return place


@contextlib.contextmanager
def whole(place: Path) -> Iterator[Path]:
    """Give the place of an unfinished file beside ``place``; at the end it takes that name, or is taken away.

    Raises OSError, with ``place`` as its file name where it has none.
    """
    handle, made = tempfile.mkstemp(prefix=f".{place.name}.", suffix=UNFINISHED, dir=place.parent)
    os.close(handle)
    part = Path(made)
    try:
        yield part
        part.chmod(0o600)
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.replace(place)
    except OSError as error:
        if error.filename in (None, made):
            raise OSError(error.errno or 5, error.strerror or str(error), str(place)) from None
        raise
    finally:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)


def write_bytes(content: bytes, place: Path) -> None:
    """Write a file whole. Raises OSError."""
    with whole(place) as part, part.open("wb") as stream:
        stream.write(content)


def write_json(content: Any, place: Path) -> None:
    """Write JSON for people and programs. Raises OSError."""
    write_bytes((json.dumps(content, ensure_ascii=False, indent=1) + "\n").encode(), place)


def write_table(made: pa.Table, place: Path) -> None:
    """Write a table as Parquet. Raises OSError."""
    with whole(place) as part, part.open("wb") as stream:
        pq.write_table(made, stream, compression="zstd")


def clear_unfinished(root: Path) -> None:
    """Take away what a run that was killed left unfinished."""
    for left in root.rglob(f".*{UNFINISHED}"):
        left.unlink(missing_ok=True)


def clear_parts(root: Path) -> None:
    """Take away the files of parts of which none was done: what another audit began must not be counted."""
    for left in root.glob("*/part-*"):
        left.unlink(missing_ok=True)
