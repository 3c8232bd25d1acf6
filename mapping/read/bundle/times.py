"""FHIR times: exact with an offset, or a date alone, which is an interval of one day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any

from layette.mapping.read.bundle.parts import Resource, items, mapping, shown

EXAMPLE = "a time with offset such as 2026-11-24T10:00:00-06:00, or a date"
_YEARS = range(1900, 2200)
_EFFECTIVE = {"effectiveDateTime", "effectivePeriod", "effectiveInstant", "effectiveTiming"}


LAST_APGAR_SCORE = timedelta(minutes=10)
"""The last score that is usually given (LOINC 9271-8)."""

EAST, WEST = timedelta(hours=14), timedelta(hours=12)
"""The offsets in use lie between UTC-12 and UTC+14 (IANA time zone database)."""


def is_utc(moment: datetime) -> bool:
    """Whether a time is written in UTC, which says nothing of where it was."""
    return moment.utcoffset() == timedelta(0)


class BadTimeError(Exception):
    """A time that cannot be used; ``vague`` where it is a right FHIR time, only not exact to the day."""

    def __init__(self, message: str, value: object, key: str = "", code: str = "time", vague: bool = False) -> None:
        """Keep what is wrong with which value of which element."""
        super().__init__(message)
        self.message, self.value, self.key, self.code, self.vague = message, shown(value), key, code, vague


def parse(value: object, key: str = "") -> date:
    """Return an aware datetime, or a date where no time is given. Raises `BadTimeError`."""
    if not isinstance(value, str):
        raise BadTimeError("this is not a time", value, key)
    try:
        moment = _parsed(value)
    except ValueError:
        raise BadTimeError("this is not a time", value, key) from None
    if moment is None:
        raise BadTimeError("the time is not known to the day", value, key, vague=True)
    if isinstance(moment, datetime) and moment.tzinfo is None:
        raise BadTimeError("the time has no offset from UTC", value, key)
    if moment.year not in _YEARS:
        raise BadTimeError("this year cannot be right", value, key)
    return moment


def _parsed(value: str) -> date | None:
    if len(value) < 10:
        datetime.strptime(value, "%Y-%m" if len(value) > 4 else "%Y")
        return None
    if value[4] != "-" or value[7] != "-":
        raise ValueError(value)
    if len(value) == 10:
        return date.fromisoformat(value)
    if value[10] != "T":
        raise ValueError(value)
    return datetime.fromisoformat(value)


def effective(resource: Resource) -> tuple[str | None, date | None]:
    """Return the effective time of an Observation as written and parsed; None where it has none.

    A period counts at its end (what was counted over a day is known when the day is over). Raises `BadTimeError`.
    """
    keys = _EFFECTIVE & resource.keys()
    if not keys:
        return None, None
    key = min(keys)
    if len(keys) > 1:
        raise BadTimeError("two effective times", ", ".join(sorted(keys)), key, "contradiction")
    value: Any = resource[key]
    if key == "effectivePeriod":
        value = mapping(value).get("end") or mapping(value).get("start")
    elif key == "effectiveTiming":
        events = mapping(value).get("event", [])
        if isinstance(events, list) and len(events) != 1:
            raise BadTimeError("the timing names no single moment", "", key, vague=True)
        value = events[0] if isinstance(events, list) else None
    return value, parse(value, key)


def effective_key(resource: Resource) -> str:
    """Return the element that gives the effective time."""
    return min(_EFFECTIVE & resource.keys(), default="")


def birth_time(patient: Resource) -> list[object]:
    """Return the times given in the standard birth-time extension, on the birth date or on the Patient."""
    url = "http://hl7.org/fhir/StructureDefinition/patient-birthTime"
    places = [*items(mapping(patient.get("_birthDate")).get("extension")), *items(patient.get("extension"))]
    return [one.get("valueDateTime") for one in places if one.get("url") == url]


@dataclass(frozen=True, slots=True)
class VisitSpan:
    """The visit's moment and what lies around it. ``limit`` is the last moment of the visit."""

    born: date | None
    at: datetime | None
    limit: datetime | None
    site: tzinfo | None = None
    birthday: date | None = None

    @property
    def zone(self) -> tzinfo | None:
        """The zone in which its calendar days are counted: the site's, else the visit's offset, else that of birth.

        UTC says nothing, since many a server writes all times in it.
        """
        if self.site is not None or self.at is None:
            return self.site
        said = [when.tzinfo for when in (self.at, self.born) if isinstance(when, datetime) and not is_utc(when)]
        return said[0] if said else self.at.tzinfo

    @property
    def _sure(self) -> bool:
        zone = self._zone_of_days()
        return self.at is None or self.site is not None or not is_utc(self.at.astimezone(zone))

    def same_day(self, moment: date) -> bool:
        """Whether a moment falls on the calendar day of the visit, or of its last moment."""
        if self.at is None or self.limit is None:
            return True
        if not isinstance(moment, datetime) and not self._sure:
            return self.first(moment) <= self.limit and self.at <= self._last(moment)
        day = moment.astimezone(self.zone).date() if isinstance(moment, datetime) else moment
        return self.at.astimezone(self.zone).date() <= day <= self.limit.astimezone(self.zone).date()

    def before_birth(self, moment: date) -> bool:
        """Whether a moment lies before birth for certain."""
        if self.born is None or (not isinstance(moment, datetime) and moment == self.birthday):
            return False
        return self._last(moment) < self.first(self.born)

    def after_visit(self, moment: date) -> bool:
        """Whether a moment lies after the visit for certain."""
        return self.limit is not None and self.first(moment) > self.limit

    def of_last_day(self, moment: date) -> bool:
        """Whether a moment may lie within the 24 hours before the visit, or at it."""
        return self.at is not None and self._last(moment) >= self.at - timedelta(days=1)

    def at_birth(self, moment: date) -> bool:
        """Whether a moment lies within the minutes after birth that Apgar scores are given for."""
        return (
            isinstance(moment, datetime) and isinstance(self.born, datetime) and moment - self.born <= LAST_APGAR_SCORE
        )

    def of_first_day(self, moment: date) -> bool:
        """Whether a moment surely lies within the first day: 24 hours, or the day of birth where no hour is known."""
        if isinstance(moment, datetime) and isinstance(self.born, datetime):
            return timedelta(0) <= moment - self.born <= timedelta(days=1)
        day = moment.astimezone(self._zone_of_days()).date() if isinstance(moment, datetime) else moment
        return day == self.birthday

    def first(self, moment: date) -> datetime:
        """Return the first moment that is meant."""
        if isinstance(moment, datetime):
            return moment
        return datetime.combine(moment, time.min, self._zone_of_days()) - (timedelta(0) if self._sure else EAST)

    def _last(self, moment: date) -> datetime:
        if isinstance(moment, datetime):
            return moment
        end = datetime.combine(moment, time.min, self._zone_of_days()) + timedelta(days=1, microseconds=-1)
        return end + (timedelta(0) if self._sure else WEST)

    def _zone_of_days(self) -> tzinfo | None:
        born = self.born.tzinfo if isinstance(self.born, datetime) else None
        return self.zone or born or UTC
