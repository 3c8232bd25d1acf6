"""When the calendar days of a visit begin and end, where a day is given without a time.

The site's time zone says it; else the offset of the visit, unless that is UTC, in which many a server writes all
times; else the offset of birth. Where nothing says it, a day is the span that it may be at any offset in use.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from layette.engine.exact.times import Moment, moment, named_zone, stamp, zone_of

EAST, WEST = 14 * 3600, 12 * 3600
"""The offsets in use lie between UTC-12 and UTC+14, in seconds (IANA time zone database)."""
DATE = 10
"""The length of a date as text."""


@dataclass(frozen=True, slots=True)
class Days:
    """The zone of a visit's days; ``sure``: something says so. ``born`` as written, an exact time or a day."""

    zone: tzinfo
    sure: bool = True
    born: str = ""

    def spread(self, found: Moment) -> Moment:
        """Return a moment with what its day may be; the day of birth is that of the place of birth."""
        if len(found.text) != DATE:
            return found
        if not self.sure or found.text in self._birthdays():
            return Moment(found.lo - EAST, found.hi + WEST, found.text)
        if len(self.born) > DATE and found.text == self.born[:DATE]:
            return moment(found.text, zone_of(self.born))
        return found

    def printed(self, found: Moment) -> Moment:
        """Return a moment as an answer prints it, in the zone of its days: one instant has one spelling."""
        return (
            Moment(found.lo, found.hi, stamp(found.lo, self.zone)) if len(found.text) != DATE and found.exact else found
        )

    def _birthdays(self) -> set[str]:
        """Return the days of which a birth can be that is written in UTC."""
        if len(self.born) <= DATE or not _is_utc(self.born):
            return set()
        born = datetime.fromisoformat(self.born)
        return {(born + timedelta(seconds=offset)).date().isoformat() for offset in (-WEST, 0, EAST)}


def days_of(at: str, born: object, site: str | None) -> Days:
    """Return the days of a visit from its moment and birth as written; ValueError where ``at`` has no offset."""
    offset, text = zone_of(at), born if isinstance(born, str) else ""
    if site is not None:
        return Days(named_zone(site), born=text)
    if not _is_utc(at):
        return Days(offset, born=text)
    if len(text) <= DATE:
        return Days(UTC, sure=False, born=text)
    try:
        return Days(UTC, sure=False, born=text) if _is_utc(text) else Days(zone_of(text), born=text)
    except ValueError:
        return Days(UTC, born=text)


def _is_utc(text: str) -> bool:
    return zone_of(text).utcoffset(None) == timedelta(0)
