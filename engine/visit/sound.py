"""What a program puts into a visit and a file cannot: endless nesting and numbers, dates and times as objects."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from itertools import chain
from typing import Any

DEEPEST = 32
"""The parts of a visit lie less than ten levels deep; what a feed keeps of its own may lie deeper."""

_MOST_BITS = 256
_TOO_DEEP = "this is nested too deeply, or holds itself"
_TOO_LONG = "a number of very many digits"

Tell = Callable[[str, str, str], None]
"""Told of each place: its path, what is wrong, what would be right."""


def sound(part: Any, tell: Tell) -> Any:
    """Return ``part`` as a file could hold it; the very object if it is so already.

    All that is unsound is told, and a text stands in its place. A `date` or `datetime` becomes its ISO 8601 text; one
    without an offset stays without one, and is refused like its text.
    """
    return part if plain(part) else _Walk(tell).of(part, "", ())


_LEAVES = frozenset({str, bool, float, Decimal, type(None)})
_HOLDERS = frozenset({dict, list})
_MOST_PARTS = 100_000


def plain(part: Any) -> bool:
    """Whether ``part`` is for sure as a file could hold it, all its text in Unicode; in doubt it is not.

    It goes down level by level and counts, so that what holds itself, or stands in very many places, ends it soon.
    """
    level, texts, left = [part], [""], _MOST_PARTS
    for _ in range(DEEPEST):
        if not {*map(type, level)} <= _HOLDERS or (left := left - sum(map(len, level))) < 0:
            return False
        mappings = [node for node in level if type(node) is dict]
        values = list(chain.from_iterable(map(dict.values, mappings)))
        values += chain.from_iterable([node for node in level if type(node) is list])
        texts += chain.from_iterable(mappings)
        texts += [value for value in values if type(value) is str]
        level = [value for value in values if type(value) not in _LEAVES and not _is_small(value)]
        if not level:
            return _unicode(texts)
    return False


def printable(part: Any) -> bool:
    """Whether all text in ``part`` can be written as UTF-8 (JSON can carry half of a surrogate pair)."""
    parts, texts, seen = [part], [""], set()
    for one in parts:  # it grows while it is read
        if isinstance(one, str):
            texts.append(one)
        elif isinstance(one, Mapping | list | tuple) and id(one) not in seen:
            seen.add(id(one))
            parts += one
            parts += one.values() if isinstance(one, Mapping) else ()
    return _unicode(texts)


def _is_small(part: Any) -> bool:
    return type(part) is int and part.bit_length() <= _MOST_BITS


def _unicode(texts: Iterable[Any]) -> bool:
    """Whether these are all texts, of whole characters."""
    try:
        whole = "".join(texts)
        return whole.isascii() or bool(whole.encode())
    except (TypeError, UnicodeEncodeError):
        return False


class _Walk:
    def __init__(self, tell: Tell) -> None:
        self.tell = tell
        self.checked: set[int] = set()
        """The parts that are sound: one that stands in many places is looked at once."""

    def of(self, part: Any, path: str, around: tuple[int, ...]) -> Any:
        if isinstance(part, int | Fraction):
            return self._number(part, path)
        if isinstance(part, date):  # a datetime is a date
            return part.isoformat()
        if not isinstance(part, Mapping | list | tuple) or id(part) in self.checked:
            return part
        if len(around) >= DEEPEST or id(part) in around:
            self.tell(path or "$", _TOO_DEEP, f"at most {DEEPEST} levels")
            return _TOO_DEEP
        inner = (*around, id(part))
        changed = {
            key: new for key, old, where in _inside(part, path) if (new := self.of(old, where, inner)) is not old
        }
        if not changed:
            self.checked.add(id(part))
            return part
        if isinstance(part, Mapping):
            return {**part, **changed}
        return [changed.get(k, old) for k, old in enumerate(part)]

    def _number(self, part: int | Fraction, path: str) -> Any:
        if max(part.numerator.bit_length(), part.denominator.bit_length()) <= _MOST_BITS:
            return part
        self.tell(path or "$", _TOO_LONG, "as many digits as are measured")
        return _TOO_LONG


def _inside(part: Mapping[Any, Any] | list[Any] | tuple[Any, ...], path: str) -> Iterator[tuple[Any, Any, str]]:
    if isinstance(part, Mapping):
        yield from ((key, inner, f"{path}.{key}" if path else str(key)) for key, inner in part.items())
    else:
        yield from ((k, inner, f"{path}[{k}]") for k, inner in enumerate(part))
