"""The bytes of an input, from a file or from stdin."""

from __future__ import annotations

import sys
from pathlib import Path

from layette.mapping.fhir.json import SIZE_LIMIT


def read_bytes(name: str) -> bytes:
    """Return the content of a file, or of stdin for ``-``; of one that is too large, enough to see that it is.

    Raises OSError where there is no such file, or it cannot be read.
    """
    if name == "-" and sys.stdin is None:
        raise OSError(None, "stdin is closed")
    if name == "-":
        return sys.stdin.buffer.read(SIZE_LIMIT + 1)
    with Path(name).open("rb") as stream:
        return stream.read(SIZE_LIMIT + 1)
