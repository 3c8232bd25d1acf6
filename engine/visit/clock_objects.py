"""Python's own dates and times in a flat visit, written out as the text that a file would hold."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any


def in_text(part: Any) -> Any:
    """Return ``part`` with every `date` and `datetime` as ISO 8601 text; the very same object where there is none.

    A `datetime` without an offset stays without one, and is refused like its text.
    """
    return _in_text(part) if _any_date(part) else part


def _any_date(part: Any) -> bool:
    """Whether there is a date anywhere in ``part``; mostly there is none, and nothing has to be made anew."""
    parts = [part]
    for one in parts:  # it grows while it is read
        if type(one) is str:
            continue
        if isinstance(one, dict | Mapping):
            parts += one.values()
        elif isinstance(one, list | tuple):
            parts += one
        elif isinstance(one, date):
            return True
    return False


def _in_text(part: Any) -> Any:
    if isinstance(part, str):
        return part
    if isinstance(part, date):  # a datetime is a date
        return part.isoformat()
    if isinstance(part, Mapping):
        changed = {key: new for key, old in part.items() if (new := _in_text(old)) is not old}
        return {**part, **changed} if changed else part
    if isinstance(part, list | tuple):
        items = [_in_text(item) for item in part]
        return items if any(new is not old for new, old in zip(items, part, strict=True)) else part
    return part
