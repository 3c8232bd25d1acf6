"""What a condition names, before it is read by the grammar: its tests, and the treatment lines that it asks for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any


def keys_in(condition: Any) -> Iterator[str]:
    """Yield the key of every test, such as ``barlow.left``."""
    for part in condition if isinstance(condition, list) else [condition]:
        for key, value in part.items() if isinstance(part, Mapping) else ():
            if key in ("all", "any", "none"):
                yield from keys_in(value)
            else:
                yield str(key)


def lines_in(condition: Any) -> Iterator[str]:
    """Yield the measure that each ``beyond`` names."""
    if isinstance(condition, Mapping):
        if "beyond" in condition:
            yield str(condition["beyond"])
        for value in condition.values():
            yield from lines_in(value)
    elif isinstance(condition, list):
        for value in condition:
            yield from lines_in(value)
