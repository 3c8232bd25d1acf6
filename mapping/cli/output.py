"""Output that is whole or not there."""

from __future__ import annotations

import contextlib
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any


def write(content: str | bytes, out: str | None) -> None:
    """Write to a file (by way of a temporary one beside it, then renamed) or to stdout. Raises OSError.

    A new file is for its owner alone, since it holds what was found in a newborn; one that is replaced keeps its mode.
    """
    if out is None or out == "-":
        _to_stdout(content)
        return
    with whole(out, text=False) as stream:
        stream.write(content.encode() if isinstance(content, str) else content)


@contextlib.contextmanager
def whole(out: str, *, text: bool) -> Iterator[IO[Any]]:
    """Open a file, for bytes or for lines of UTF-8, that is there whole at the end, or not at all. Raises OSError.

    What is no plain file (a terminal, a pipe) is written as it comes.
    """
    target = Path(os.path.realpath(out))
    how: dict[str, Any] = {"mode": "w", "encoding": "utf-8", "newline": "\n"} if text else {"mode": "wb"}
    if target.exists() and not target.is_file():
        with target.open(**how) as stream:
            yield stream
        return
    handle, made = _made_beside(target)
    part = Path(made)
    try:
        with os.fdopen(handle, **how) as stream:
            yield stream
            stream.flush()
            if target.exists():
                part.chmod(target.stat().st_mode & 0o777)
            os.fsync(stream.fileno())
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def _made_beside(target: Path) -> tuple[int, str]:
    """Make the temporary file, readable by its owner alone; what goes wrong is told of the file that was asked for."""
    try:
        return tempfile.mkstemp(prefix=f".{target.name[:100]}.", suffix=".part", dir=target.parent)
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(target)) from None


def _to_stdout(content: str | bytes) -> None:
    if sys.stdout is None:
        raise OSError(None, "there is no output to write to", "stdout is closed")
    buffer = getattr(sys.stdout, "buffer", None)
    if isinstance(content, str) or buffer is None:
        sys.stdout.write(content if isinstance(content, str) else content.decode())
    else:
        sys.stdout.flush()
        buffer.write(content)
    sys.stdout.flush()
