"""Many inputs as items: the lines of NDJSON, the files of a folder."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from layette.mapping.fhir.json import SIZE_LIMIT

LINES = (".ndjson", ".jsonl")
FILES = (".json", ".xml", ".yaml", ".yml", ".hl7")
_BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True, slots=True)
class Item:
    """One input: its bytes, the ``source`` (a file as named, or relative to the folder) and the line in it, from 1.

    ``line`` is None where the whole file is one input, ``done`` the share of all input that has been read with it (0 to
    1), None where nobody knows how much there is. ``skipped``: it is no visit, and why. ``encounter``: which of several
    visits in it is meant.
    """

    content: bytes
    source: str
    line: int | None = None
    done: float | None = None
    skipped: str = ""
    encounter: str | None = None


def items(name: str) -> Iterator[Item]:
    """Yield the inputs of a folder, of a file of lines, of stdin (``-``, lines), or the one of any other file.

    A folder is read with its folders, by name; hidden files are left out. Raises OSError where nothing can be read.
    """
    if name == "-":
        yield from _lines(sys.stdin.buffer, "-", 0)
    elif Path(name).is_dir():
        yield from _folder(Path(name))
    else:
        yield from _file(Path(name), name)


def _folder(folder: Path) -> Iterator[Item]:
    paths = sorted(path for path in folder.rglob("*") if path.is_file() and not _hidden(path.relative_to(folder)))
    for number, path in enumerate(paths, 1):
        for item in _file(path, path.relative_to(folder).as_posix()):
            yield Item(item.content, item.source, item.line, number / len(paths), item.skipped)


def _hidden(path: Path) -> bool:
    return any(part.startswith(".") for part in path.parts)


def _file(path: Path, name: str) -> Iterator[Item]:
    suffix = path.suffix.lower()
    if suffix in LINES:
        with path.open("rb") as stream:
            yield from _lines(stream, name, path.stat().st_size)
    elif suffix in FILES:
        with path.open("rb") as stream:
            yield Item(stream.read(SIZE_LIMIT + 1), name, None, 1.0)
    else:
        kinds = ", ".join((*FILES, *LINES))
        yield Item(b"", name, None, 1.0, f"a file of another kind; {kinds} are read")


def _lines(stream: BinaryIO, name: str, size: int) -> Iterator[Item]:
    """Yield the lines of a stream; of one that is too long, enough to see that it is."""
    number = read = 0
    while line := stream.readline(SIZE_LIMIT + 2):
        number, read = number + 1, read + len(line)
        whole = line
        while not whole.endswith(b"\n") and (whole := stream.readline(SIZE_LIMIT)):
            read += len(whole)
        content = line.removeprefix(_BOM).strip() if number == 1 else line.strip()
        done = min(1.0, read / size) if size else None
        yield Item(content, name, number, done, "" if content else "an empty line")
