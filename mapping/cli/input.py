"""What a command line names: the bytes of an input, from a file or from stdin, and a language of the pack."""

from __future__ import annotations

import sys
from pathlib import Path

from layette.engine.api import Pack
from layette.engine.errors import InputError, InputProblem
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


def input_bytes(name: str) -> bytes:
    """Return what `read_bytes` does. Raises `InputError` where it cannot be read."""
    try:
        return read_bytes(name)
    except OSError as error:
        message = f"the input cannot be read: {error.strerror or type(error).__name__}"
        raise InputError([InputProblem(name, "structure", message)]) from None


def check_language(language: str, pack: Pack) -> None:
    """Refuse a language in which the pack has no words."""
    if language not in pack.shape.languages:
        known = ", ".join(pack.shape.languages)
        message = "this pack has no words for families in that language"
        raise InputError([InputProblem("--language", "setting", message, language, f"one of {known}")])
