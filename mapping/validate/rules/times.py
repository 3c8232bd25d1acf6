"""Comparing dates and times of any precision and offset: only what is certain counts.

A FHIR time is an interval of seconds: ``2026-01`` is a month, and without an offset it may be anywhere on
earth, 14 hours ahead of UTC to 12 behind.
"""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import UTC, datetime
from fractions import Fraction

_TIME = re.compile(
    r"([0-9]{4})(?:-([0-9]{2})(?:-([0-9]{2})(?:T([0-9]{2}):([0-9]{2}):([0-9]{2})(\.[0-9]+)?(Z|[+-][0-9]{2}:[0-9]{2})?)?)?)?",
    re.ASCII,
)
_START = datetime(1, 1, 1, tzinfo=UTC)

Seconds = int | Fraction
"""An exact number of seconds."""


def surely_after(one: object, other: object) -> bool:
    """Return whether ``one`` lies after ``other`` whatever the missing parts are; ``False`` if either is no time."""
    first, second = _interval(one), _interval(other)
    if first is None or second is None:
        return False
    (low, zoned), (high, other_zoned) = (first[0], first[2]), (second[1], second[2])
    slack = 0 if zoned == other_zoned else 14 * 3600
    return low > high + slack


def _interval(value: object) -> tuple[Seconds, Seconds, bool] | None:
    """Return first and last second since year 1, and whether an offset is known."""
    match = _TIME.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        return None
    year, month, day, hour, minute, second, fraction, offset = match.groups()
    try:
        low = datetime(int(year), int(month or 1), int(day or 1), int(hour or 0), int(minute or 0), tzinfo=UTC)
        high = low if hour else _last_minute(low, bool(month), bool(day))
    except ValueError:
        return None
    exact: Seconds = int(second or 0) - _seconds(offset)
    if fraction:
        exact += Fraction(fraction)
    return _since(low) + exact, _since(high) + (exact if hour else 86399 + exact), offset is not None


def _last_minute(low: datetime, month: bool, day: bool) -> datetime:
    """Return the last day of a year or month, or the day itself."""
    if day:
        return low
    last = low.replace(month=low.month if month else 12)
    return last.replace(day=monthrange(last.year, last.month)[1])


def _since(moment: datetime) -> int:
    since = moment - _START
    return since.days * 86400 + since.seconds


def _seconds(offset: str | None) -> int:
    if offset is None or offset == "Z":
        return 0
    size = int(offset[1:3]) * 3600 + int(offset[4:6]) * 60
    return -size if offset[0] == "-" else size
