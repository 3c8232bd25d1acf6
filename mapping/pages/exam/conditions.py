"""When a finding comes up on the page (`ask: {after: ...}`), as the page can tell by itself without asking the server.

It is about layout alone: whether something is still to be examined, the engine says.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

_VIEWS = frozenset({"", "left", "right", "either", "both", "earlier"})
_BOUNDS = frozenset({"at_least", "more_than", "at_most", "below"})


def shown_when(written: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return a written condition that the page can read; None for one that it cannot, which is then always shown."""
    return written if all(_read(key, value) for key, value in written.items()) else None


def _read(key: str, value: Any) -> bool:
    if key in ("any", "all", "none"):
        parts = value if isinstance(value, list) else [value]
        return all(isinstance(part, Mapping) and shown_when(part) is not None for part in parts)
    view = key.partition(".")[2]
    return view in _VIEWS and _test(value)


def _test(value: Any) -> bool:
    if isinstance(value, Mapping):
        bounds = value.keys() <= _BOUNDS and all(isinstance(one, int | float) for one in value.values())
        return bounds or dict(value) == {"recorded": True}
    words = value if isinstance(value, list) else [value]
    return all(isinstance(word, str) for word in words)
