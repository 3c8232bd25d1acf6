"""The findings of a flat visit, one reading at a time, in a fixed order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from functools import lru_cache
from itertools import chain
from typing import Any, NamedTuple

from layette.engine.exact.units import seconds

_KNOWN = {
    "value", "unit", "time", "age", "side", "status", "absent", "origin", "path", "reported", "part", "given",
    "charted_by", "text",
}  # fmt: skip
_BOUNDS = {"at_least", "more_than", "at_most", "below", "between"}
_SIDES = ("left", "right")


class GivenReading(NamedTuple):
    """One reading of one finding: a value (or why there is none), when it was made and where it came from.

    ``start`` and ``end`` are equal where the time is known exactly; they span a day where only the date of birth
    is known and the reading gives an age. ``printed`` is what was written before a conversion. ``further`` holds
    qualifiers and parts (``route``, ``hand``). ``earlier`` is set on what another visit found, ``charted_by`` on
    what a "normal" of a whole system filled: its name; ``text`` is what somebody said, in their words.
    """

    finding: str
    side: str | None
    value: Any
    unit: str | None
    start: str
    end: str
    status: str
    absent: str | None
    origin: str | None
    reported: bool
    printed: str | None
    further: Mapping[str, Any]
    earlier: bool
    charted_by: str | None = None
    text: str | None = None


def readings(visit: Mapping[str, Any], at: str) -> tuple[GivenReading, ...]:
    """Return all readings of a flat visit, today's and earlier ones, sorted by finding, side and time."""
    history = visit.get("history") or {}
    by_place: dict[tuple[str, str, str, str], list[GivenReading]] = {}
    for findings, earlier in ((visit.get("findings"), False), (history.get("findings"), True)):
        for given in _all(findings or {}, visit, at, earlier):
            by_place.setdefault((given.finding, given.side or "", given.start, given.end), []).append(given)
    return tuple(chain.from_iterable(_in_order(by_place[place]) for place in sorted(by_place)))


def _in_order(given: list[GivenReading]) -> list[GivenReading]:
    """Return readings of one place and time in an order of their own; few have any beside them."""
    return given if len(given) == 1 else sorted(given, key=repr)


def _all(findings: Mapping[str, Any], visit: Mapping[str, Any], at: str, earlier: bool) -> Iterator[GivenReading]:
    for key, value in findings.items():
        name, _, side = key.partition(".")
        for item in value if isinstance(value, list) else [value]:
            reading = _fields(item)
            for where in _sides(side or reading.get("side")):
                yield _given(name, where, reading, when(reading, visit, at), earlier)


def _fields(item: Any) -> dict[str, Any]:
    """Return a reading as a mapping; a bare value, and a bare bound, are values."""
    if not (type(item) is dict or isinstance(item, Mapping)) or (item and item.keys() <= _BOUNDS):
        return {"value": item}
    fields = dict(item)
    if fields.get("part"):
        fields[str(fields["part"])] = fields.pop("value", None)
    return fields


def _sides(side: str | None) -> tuple[str | None, ...]:
    return _SIDES if side == "both" else (side if side in _SIDES else None,)


def _given(
    name: str, side: str | None, reading: Mapping[str, Any], span: tuple[str, str], earlier: bool
) -> GivenReading:
    start, end = span
    return GivenReading(
        name, side, reading.get("value"), reading.get("unit"), start, end, str(reading.get("status") or "final"),
        reading.get("absent"), reading.get("origin"), bool(reading.get("reported")), reading.get("given"),
        {key: reading[key] for key in sorted(reading.keys() - _KNOWN)}, earlier, reading.get("charted_by"),
        reading.get("text"),
    )  # fmt: skip


def when(reading: Mapping[str, Any], visit: Mapping[str, Any], at: str) -> tuple[str, str]:
    """Return the earliest and the latest moment that a reading can mean, as ISO 8601 text."""
    if reading.get("time"):
        return _span(str(reading["time"]), at)
    if not reading.get("age"):
        return at, at
    since = timedelta(seconds=seconds(str(reading["age"])))
    first, last = (datetime.fromisoformat(text) for text in _span(str(visit["born"]), at))
    end = min(last + since, datetime.fromisoformat(at))
    return (first + since).isoformat(), max(first + since, end).isoformat()


@lru_cache(maxsize=1000)  # much of a visit was found at one time
def _span(text: str, at: str) -> tuple[str, str]:
    """Return a moment twice, or the two ends of a day in the offset of the visit."""
    if len(text) > len("2026-11-20"):
        exact = datetime.fromisoformat(text).isoformat()
        return exact, exact
    zone = datetime.fromisoformat(at).tzinfo
    day = date.fromisoformat(text)
    last = time(23, 59, 59)
    return datetime.combine(day, time.min, zone).isoformat(), datetime.combine(day, last, zone).isoformat()


def moment(text: str, visit: Mapping[str, Any], at: str) -> tuple[str, str]:
    """Return the two ends of a time as an assessment prints it: ISO 8601, a date alone, or ``age 26 h``."""
    if text.startswith("age "):
        return when({"age": text.removeprefix("age ")}, visit, at)
    return _span(text, at)


def decimal(value: Any) -> Decimal | None:
    """Return a number with the digits it was given in; None where it is not a number."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str, Decimal)):
        return None
    try:
        number = Decimal(repr(value)) if isinstance(value, float) else Decimal(value)
    except ArithmeticError:
        return None
    return number if number.is_finite() else None
