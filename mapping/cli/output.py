"""Output that is whole or not there."""

from __future__ import annotations

import contextlib
import os
import sys
from pathlib import Path


def write(content: str | bytes, out: str | None) -> None:
    """Write to a file (by way of a temporary one beside it, then renamed) or to stdout. Raises OSError."""
    if out is None or out == "-":
        _to_stdout(content)
        return
    target = Path(os.path.realpath(out))
    if target.exists() and not target.is_file():
        target.write_bytes(_bytes(content))
        return
    _replace(target, _bytes(content))


def _replace(target: Path, content: bytes) -> None:
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with part.open("xb") as stream:
            stream.write(content)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise


def _to_stdout(content: str | bytes) -> None:
    buffer = getattr(sys.stdout, "buffer", None)
    if isinstance(content, str) or buffer is None:
        sys.stdout.write(content if isinstance(content, str) else content.decode())
    else:
        sys.stdout.flush()
        buffer.write(content)
    sys.stdout.flush()


def _bytes(content: str | bytes) -> bytes:
    return content.encode() if isinstance(content, str) else content
