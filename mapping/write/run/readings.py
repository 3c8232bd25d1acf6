"""The findings of a flat visit, one reading at a time, in a fixed order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from layette.engine.exact.units import seconds

_KNOWN = ("value", "unit", "time", "age", "side", "status", "absent", "origin", "path", "reported", "part", "given")
_BOUNDS = {"at_least", "more_than", "at_most", "below", "between"}
_SIDES = ("left", "right")


@dataclass(frozen=True)
class GivenReading:
    """One reading of one finding: a value (or why there is none), when it was made and where it came from.

    ``start`` and ``end`` are equal where the time is known exactly; they span a day where only the date of birth
    is known and the reading gives an age. ``printed`` is what was written before a conversion. ``further`` holds
    qualifiers and parts (``route``, ``hand``). ``earlier`` is set on what another visit found.
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
    further: Mapping[str, Any] = field(default_factory=dict)
    earlier: bool = False


def readings(visit: Mapping[str, Any], at: str) -> tuple[GivenReading, ...]:
    """Return all readings of a flat visit, today's and earlier ones, sorted by finding, side and time."""
    history = visit.get("history") or {}
    today = _all(visit.get("findings") or {}, visit, at)
    before = (replace(given, earlier=True) for given in _all(history.get("findings") or {}, visit, at))
    return tuple(sorted([*today, *before], key=lambda g: (g.finding, g.side or "", g.start, g.end, repr(g))))


def _all(findings: Mapping[str, Any], visit: Mapping[str, Any], at: str) -> Iterator[GivenReading]:
    for key, value in findings.items():
        name, _, side = key.partition(".")
        for item in value if isinstance(value, list) else [value]:
            reading = _fields(item)
            for where in _sides(side or reading.get("side")):
                yield _given(name, where, reading, visit, at)


def _fields(item: Any) -> dict[str, Any]:
    """Return a reading as a mapping; a bare value, and a bare bound, are values."""
    if not isinstance(item, Mapping) or (item and item.keys() <= _BOUNDS):
        return {"value": item}
    fields = dict(item)
    if fields.get("part"):
        fields[str(fields["part"])] = fields.pop("value", None)
    return fields


def _sides(side: str | None) -> tuple[str | None, ...]:
    return _SIDES if side == "both" else (side if side in _SIDES else None,)


def _given(name: str, side: str | None, reading: Mapping[str, Any], visit: Mapping[str, Any], at: str) -> GivenReading:
    start, end = when(reading, visit, at)
    return GivenReading(
        name, side, reading.get("value"), reading.get("unit"), start, end, str(reading.get("status") or "final"),
        reading.get("absent"), reading.get("origin"), bool(reading.get("reported")), reading.get("given"),
        {key: value for key, value in sorted(reading.items()) if key not in _KNOWN},
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
