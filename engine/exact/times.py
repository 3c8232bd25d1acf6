"""Moments: a point in time, or the span in which it must lie, in whole UTC seconds.

A date alone is the span of that day; a time of day without an offset is refused, since nobody can say when it was.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

from layette.engine.exact.units import seconds

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
DAY = 86400
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FIRST_YEAR, LAST_YEAR = 1900, 2199
"""What lies outside is a slip of the pen, and would not fit a window's arithmetic."""
_FIRST, _LAST = str(FIRST_YEAR), str(LAST_YEAR)
_USUAL_LENGTH = len("2026-11-24T10:00:00-06:00")


@dataclass(frozen=True, slots=True, order=True)
class Moment:
    """Between ``lo`` and ``hi`` (UTC seconds, both included); ``text`` as it was given."""

    lo: int
    hi: int
    text: str

    @property
    def exact(self) -> bool:
        """Whether it is one point in time."""
        return self.lo == self.hi


DATE_ALONE = "a date alone does not say when: a time of day is needed, and needs its offset from UTC"
WITHOUT_OFFSET = "a time of day needs its offset from UTC, such as 2026-11-24T10:00:00-06:00"


def moment(text: str, zone: tzinfo) -> Moment:
    """Read an ISO 8601 date, or date and time with offset; ValueError says what is wrong.

    ``zone`` tells when a day begins and ends, for a date alone.
    """
    if len(text) == _USUAL_LENGTH and _FIRST <= text[:4] <= _LAST:
        second = _usual_second(text)
        if second is not None:
            return Moment(second, second, text)
    if text[:4].isascii() and text[:4].isdigit() and not FIRST_YEAR <= int(text[:4]) <= LAST_YEAR:
        raise ValueError(f"a year from {FIRST_YEAR} to {LAST_YEAR} is expected")
    if _DATE.fullmatch(text):
        day = _parsed(text).date()
        start = datetime(day.year, day.month, day.day, tzinfo=zone)
        return Moment(_seconds(start), _seconds(start + timedelta(days=1)) - 1, text)
    when = _parsed(text)
    if when.tzinfo is None:
        raise ValueError(WITHOUT_OFFSET)
    return Moment(_seconds(when), _seconds(when), text)


def _usual_second(text: str) -> int | None:
    """Return what a date and time with its offset says, as most are written; None where anything is amiss."""
    try:
        since = datetime.fromisoformat(text) - _EPOCH
    except (ValueError, TypeError):  # no date, or no offset
        return None
    return since.days * DAY + since.seconds if text[19] in "+-" and text[22] == ":" else None


def zone_of(text: str) -> timezone:
    """Return the offset of a date and time as a time zone; ValueError where it has none."""
    offset = _parsed(text).utcoffset()
    if offset is None:
        raise ValueError(DATE_ALONE if _DATE.fullmatch(text) else WITHOUT_OFFSET)
    return timezone(offset)


def _parsed(text: str) -> datetime:
    """Return what a text says, without a zone where it has none; ValueError in our own words."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError("this is no date of the calendar, or no date and time, in the form of ISO 8601") from None
    offset = when.utcoffset()
    if offset is not None and offset % timedelta(minutes=1):
        raise ValueError("an offset from UTC is of whole minutes, such as -06:00")
    return when


def named_zone(name: str) -> tzinfo:
    """Return a zone of the time zone database; ValueError for an unknown name."""
    try:
        return ZoneInfo(name)
    except (KeyError, OSError, ValueError) as error:
        raise ValueError(f"'{name}' is no time zone of the IANA database") from error


@lru_cache(maxsize=4096)
def stamp(second: int, zone: tzinfo) -> str:
    """Print a UTC second as ISO 8601 in ``zone``."""
    return datetime.fromtimestamp(second, zone).isoformat()


def day_number(second: int, zone: tzinfo) -> int:
    """Return the ordinal of the calendar day of a UTC second in ``zone``."""
    return datetime.fromtimestamp(second, zone).toordinal()


def plus_months(second: int, months: int, zone: tzinfo) -> int:
    """Return the same clock time some calendar months later, on the last day where the month is shorter."""
    when = datetime.fromtimestamp(second, zone)
    year, month = divmod(when.year * 12 + when.month - 1 + months, 12)
    for day in range(when.day, 27, -1):
        try:
            return _seconds(when.replace(year=year, month=month + 1, day=day))
        except ValueError:
            continue
    return _seconds(when.replace(year=year, month=month + 1))


def plus(second: int, text: str, zone: tzinfo) -> int:
    """Return ``second`` plus an amount such as ``24 h`` or ``6 mo`` (calendar months)."""
    return later(second, amount_of(text), zone)


def later(second: int, amount: Duration, zone: tzinfo) -> int:
    """Return ``second`` plus an amount."""
    months, elapsed = amount
    return plus_months(second, months, zone) if months else second + elapsed


Duration = tuple[int, int]
"""Calendar months, or else seconds."""


@lru_cache(maxsize=1000)
def amount_of(text: str) -> Duration:
    """Return an amount of time such as ``24 h`` or ``6 mo``."""
    return (int(text.removesuffix(" mo")), 0) if text.endswith(" mo") else (0, seconds(text))


AgeBounds = tuple[tuple[str, int], ...]
"""Bounds of an age, each with its amount in seconds."""


def age_bounds(written: Mapping[Any, str]) -> AgeBounds:
    """Return bounds such as ``{at_least: 24 h}``."""
    return tuple((name, seconds(text)) for name, text in written.items())


def within(bounds: AgeBounds, low: int, high: int) -> bool:
    """Whether an age surely between ``low`` and ``high`` seconds keeps all bounds."""
    for name, bound in bounds:
        if name == "at_least":
            keeps = low >= bound
        elif name == "more_than":
            keeps = low > bound
        else:
            keeps = high <= bound if name == "at_most" else high < bound
        if not keeps:
            return False
    return True


def _seconds(when: datetime) -> int:
    since = when - _EPOCH
    return since.days * DAY + since.seconds
