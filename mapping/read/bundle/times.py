"""FHIR times: exact with an offset, or a date alone, which is an interval of one day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any

from layette.mapping.read.bundle.parts import Resource, items, mapping, shown

EXAMPLE = "a time with offset such as 2026-11-24T10:00:00-06:00, or a date"
_YEARS = range(1900, 2200)
_EFFECTIVE = {"effectiveDateTime", "effectivePeriod", "effectiveInstant", "effectiveTiming"}


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
        events = mapping(value).get("event")
        value = events[0] if isinstance(events, list) and len(events) == 1 else None
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

    @property
    def zone(self) -> tzinfo | None:
        """The offset of the visit, in which its calendar days are counted."""
        return self.at.tzinfo if self.at else None

    def same_day(self, moment: date) -> bool:
        """Whether a moment falls on the calendar day of the visit, or of its last moment."""
        if self.at is None or self.limit is None:
            return True
        day = moment.astimezone(self.zone).date() if isinstance(moment, datetime) else moment
        return self.at.date() <= day <= self.limit.astimezone(self.zone).date()

    def before_birth(self, moment: date) -> bool:
        """Whether a moment lies before birth for certain."""
        return self.born is not None and self._last(moment) < self.first(self.born)

    def after_visit(self, moment: date) -> bool:
        """Whether a moment lies after the visit for certain."""
        return self.limit is not None and self.first(moment) > self.limit

    def first(self, moment: date) -> datetime:
        """Return the first moment that is meant."""
        if isinstance(moment, datetime):
            return moment
        return datetime.combine(moment, time.min, self._zone_of_days())

    def _last(self, moment: date) -> datetime:
        if isinstance(moment, datetime):
            return moment
        return datetime.combine(moment, time.min, self._zone_of_days()) + timedelta(days=1, microseconds=-1)

    def _zone_of_days(self) -> tzinfo | None:
        born = self.born.tzinfo if isinstance(self.born, datetime) else None
        return self.zone or born or UTC
