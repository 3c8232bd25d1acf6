"""Times as the visit's own clock shows them: a day, a moment, a window, a span of days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from layette.engine.answer.shapes.proposed import Window

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_FAR = 28 * 24
"""Hours ahead, from which nobody thinks in days of the week."""


@dataclass(frozen=True)
class Clock:
    """Tells times as the visit's own clock shows them."""

    at: datetime

    @classmethod
    def of(cls, at: str) -> Clock:
        """Return the clock of a visit at ``at`` (ISO 8601 with offset)."""
        return cls(datetime.fromisoformat(at))

    def tell(self, time: str, *, year: bool = False) -> str:
        """Return a time for people; year and offset are named where they are not the visit's, or on request.

        A time that is no date (``age 90 h``) is told as it is written.
        """
        when = moment(time)
        if when is None:
            return time
        text = self._day(when, year=year)
        if len(time) > len("2026-11-24"):
            text += f", {when:%H:%M}"
            text += f" ({offset(when)})" if when.utcoffset() != self.at.utcoffset() else ""
        return text

    def day(self, time: str) -> str:
        """Return the day of a time, without its hour."""
        when = moment(time)
        return time if when is None else self._day(when)

    def hour(self, time: str) -> str:
        """Return the hour of a time of today; of another day, the whole of it."""
        told = self.tell(time)
        return told.split(", ", 1)[1] if self.today(time) and ", " in told else told

    def today(self, time: str) -> bool:
        """Whether a time lies on the day of the visit."""
        when = moment(time)
        return when is not None and when.date() == self.at.date()

    def far(self, time: str, hours: int = 2) -> bool:
        """Whether a time lies more than some hours ahead."""
        when = moment(time)
        return when is not None and (self._second(when) - self.at.timestamp()) > hours * 3600

    def window(self, window: Window, *, hours: bool = True) -> str:
        """Return when something is to be done: real times, or the words of the window where it has none."""
        tell = self.tell if hours else self.day
        if window.overdue and window.proposed:
            return f"proposed {tell(window.proposed)}, never ordered: order now"
        if window.overdue:
            return f"overdue since {tell(window.until)}" if window.until else "overdue"
        later = window.start is not None and self._later(window.start)
        if later and window.until:
            return f"from {tell(window.start or '')} to {tell(window.until)}"
        if window.until:
            return f"by {tell(window.until)}" if self._later(window.until) else "now"
        return f"from {tell(window.start or '')}" if later else window.text

    def span(self, start: str, until: str | None) -> str:
        """Return a span of days: ``Thu 14 - Mon 18 May``, ``by Mon 18 May`` once begun, ``Mon 18 May`` of one day.

        Far ahead the day of the week is left out.
        """
        far = self.far(until or start, _FAR)
        first, last = (self._date(self.day(time), far=far) for time in (start, until or start))
        if until is None:
            return f"from {first}" if self._later(start) else "at the next visit"
        if not self._later(start):
            return f"by {last}"
        if first == last:
            return last
        if start[:7] == until[:7]:
            first = first.removesuffix(first[first.rindex(" ") :])
        return f"{first} - {last}"

    def _date(self, day: str, *, far: bool) -> str:
        return day.partition(" ")[2] if far and " " in day else day

    def _day(self, when: datetime, *, year: bool = False) -> str:
        text = f"{_DAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]}"
        return text + (f" {when.year}" if year or when.year != self.at.year else "")

    def _later(self, time: str) -> bool:
        when = moment(time)
        return when is not None and self._second(when) > self.at.timestamp()

    def _second(self, when: datetime) -> float:
        return (when if when.tzinfo else when.replace(tzinfo=self.at.tzinfo)).timestamp()


def moment(time: str) -> datetime | None:
    """Return a time, None for one that is told in words."""
    try:
        return datetime.fromisoformat(time)
    except ValueError:
        return None


def offset(when: datetime) -> str:
    """Return ``UTC-06:00``."""
    text = when.isoformat()[-6:]
    return f"UTC{text}" if text[0] in "+-" else "UTC"
