"""Which readers there are, and which two of them read a visit where nobody chooses."""

from __future__ import annotations

from collections.abc import Collection

from layette.engine.logic.closures import ClosureReader
from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import Program, Reader
from layette.engine.logic.reference import ReferenceReader
from layette.engine.logic.rete import ReteReader, rete_available
from layette.engine.logic.turns import Turns

BUILDING = Turns()
"""Readers are built in turns, so that threads that all want a new one wait for it and do not each build their own."""


def usual() -> tuple[str, str]:
    """Name the two readers of every visit: `native`, and `rete` where durable-rules is installed, else `closures`."""
    return "native", "rete" if rete_available() else "closures"


def build(name: str, program: Program, known: Collection[int] = frozenset()) -> Reader:
    """Return the reader of that name for ``program``; the ``known`` variables are known at every visit.

    Raises ValueError for a reader that does not exist or cannot run here.
    """
    match name:
        case "native":
            return NativeReader(program, known)
        case "closures":
            return ClosureReader(program)
        case "reference":
            return ReferenceReader(program)
        case "rete" if rete_available():
            return ReteReader(program)
    raise ValueError(f"no reader '{name}' here; 'rete' needs durable-rules (Python below 3.13)")
