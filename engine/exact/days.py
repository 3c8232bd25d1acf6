"""When the calendar days of a visit begin and end, where a day is given without a time.

The site's time zone says it; else the offset of the visit, unless that is a spelling alone: UTC, in which many a server
writes all times, or an offset that nothing else in the visit has. Then that of birth says it. Where nothing does, a day
is the span that it may be at any offset in use.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

from layette.engine.exact.times import Moment, moment, named_zone, stamp, zone_of

EAST, WEST = 14 * 3600, 12 * 3600
"""The offsets in use lie between UTC-12 and UTC+14, in seconds (IANA time zone database)."""
_SUMMER = timedelta(hours=1)
_NONE = timedelta(0)
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


def days_of(at: str, born: object, site: str | None, rest: Iterable[object] = ()) -> Days:
    """Return the days of a visit from its moment and birth as written; ValueError where ``at`` has no offset.

    ``rest`` are the times of what was found at the visit, looked at where ``at`` and ``born`` differ in offset.
    """
    offset, text = zone_of(at), born if isinstance(born, str) else ""
    if site is not None:
        return Days(named_zone(site), born=text)
    try:
        birth = zone_of(text) if len(text) > DATE else UTC
    except ValueError:
        birth = UTC
    zone = _clock(offset, birth, rest)
    return Days(zone, sure=zone.utcoffset(None) != _NONE, born=text)


def _clock(visit: tzinfo, birth: tzinfo, rest: Iterable[object]) -> tzinfo:
    """Return the offset by which a visit's clock goes, so that its moment in another spelling is no other answer.

    Where visit and birth differ, the times of what was found say which it is; else an hour between them is summer time,
    and more is a spelling.
    """
    at, born = visit.utcoffset(None), birth.utcoffset(None)
    if at is None or born is None or at == born or born == _NONE:
        return visit
    if at == _NONE:
        return birth
    said = next((zone for zone in map(_offset, rest) if zone in (at, born)), None)
    if said is None:
        return visit if abs(at - born) <= _SUMMER else birth
    return visit if said == at else birth


def _offset(written: object) -> timedelta | None:
    try:
        return zone_of(written).utcoffset(None) if isinstance(written, str) and len(written) > DATE else None
    except ValueError:
        return None


def _is_utc(text: str) -> bool:
    return zone_of(text).utcoffset(None) == timedelta(0)
