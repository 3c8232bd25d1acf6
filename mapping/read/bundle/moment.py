"""Which visit is read: its Encounter, its moment, and when the newborn was born."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import NamedTuple

from layette.engine.errors import InputProblem
from layette.mapping.read.bundle.entries import Entry, Inputs
from layette.mapping.read.bundle.parts import items, mapping, reference, shown, text
from layette.mapping.read.bundle.people import People
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import (
    EAST,
    EXAMPLE,
    WEST,
    BadTimeError,
    VisitSpan,
    birth_time,
    effective,
    is_utc,
    parse,
)

_NOT_MET = ("planned", "cancelled", "entered-in-error")
_GOING_ON = ("arrived", "triaged", "in-progress", "onleave")
_WITHDRAWN = ("entered-in-error", "cancelled")


@dataclass(frozen=True, slots=True)
class VisitMoment:
    """When the visit is: its times as written, the span they give, and the Encounter under all its names.

    ``named``: the caller said which Encounter of a record is meant, so that what is later belongs to later visits.
    """

    born: str | None
    at: str | None
    until: str | None
    span: VisitSpan
    encounter: str
    encounters: frozenset[str]
    named: bool = False


def named_encounter(inputs: Inputs, name: str | None, problems: list[InputProblem]) -> Entry | None:
    """Return the Encounter that the caller names."""
    if name is None:
        return None
    found = inputs.resolve(name) or next((e for e in inputs.of("Encounter") if e.resource.get("id") == name), None)
    if found is None or found.kind != "Encounter":
        problems.append(InputProblem("input", "structure", "the named Encounter is not in the input", shown(name)))
        return None
    return found


def moment_of(
    inputs: Inputs,
    people: People,
    named: Entry | None,
    at: str | None,
    problems: list[InputProblem],
    exam: str = "",
    site: tzinfo | None = None,
) -> VisitMoment:
    """Find the moment of the visit: as given, the Encounter's start, else the latest effective time.

    ``exam`` is the questionnaire whose responses are part of a visit, and count by the time of their authoring.
    """
    encounter = named or _latest_encounter(inputs, people)
    if encounter is not None:
        encounter.mark(Outcome.USED)
    names = {encounter.origin, encounter.url, encounter.name} if encounter else _absent_encounter(inputs, people, exam)
    born_text, born = _born(people, problems)
    at_text, moment, limit = _when(inputs, people, encounter, at, problems, exam)
    if born is not None and moment is not None and VisitSpan(born, moment, moment, site).before_birth(moment):
        problems.append(
            InputProblem(_place(encounter), "time", "the visit lies before birth", at_text or "", "a time after birth")
        )
    until = limit.isoformat() if limit else None
    names.discard("")
    span = VisitSpan(born, moment, limit, site, _birthday(people))
    return VisitMoment(
        born_text, at_text, until, span, _shown_name(encounter, names), frozenset(names),
        named is not None,
    )  # fmt: skip


def _birthday(people: People) -> date | None:
    """Return the day of birth as it is written, which is that of the place of birth."""
    try:
        return parse(people.baby.resource["birthDate"]) if people.baby and "birthDate" in people.baby.resource else None
    except BadTimeError:
        return None


def _shown_name(encounter: Entry | None, names: set[str]) -> str:
    return encounter.origin if encounter else min(names, default="")


def _place(encounter: Entry | None) -> str:
    return f"{encounter.path}.period.start" if encounter else "input"


def _latest_encounter(inputs: Inputs, people: People) -> Entry | None:
    """Return the newborn's latest Encounter that took place."""
    found = [
        entry
        for entry in inputs.of("Encounter")
        if entry.resource.get("status") not in _NOT_MET and people.who(entry.resource.get("subject"), entry) == "baby"
    ]
    return max(found, key=_start_seconds, default=None)


def _start_seconds(entry: Entry) -> float:
    try:
        start = parse(mapping(entry.resource.get("period")).get("start"))
    except BadTimeError:
        return float("-inf")
    return (start if isinstance(start, datetime) else datetime.combine(start, time.min).astimezone()).timestamp()


def _absent_encounter(inputs: Inputs, people: People, exam: str) -> set[str]:
    """Return the Encounter of the latest Observation, where Encounters are referred to but not sent along."""
    latest = max(_timed(inputs, people, exam), key=lambda timed: timed.first, default=None)
    name = reference(latest.entry.resource.get("encounter")) if latest else ""
    return {name} if name and not name.startswith("#") else set()


def _born(people: People, problems: list[InputProblem]) -> tuple[str | None, date | None]:
    if people.baby is None:
        return None, None
    patient, path = people.baby.resource, people.baby.path
    day = patient.get("birthDate")
    times = birth_time(patient)
    if day is None and not times:
        problems.append(InputProblem(f"{path}.birthDate", "birth", "the Patient has no birth date", "", "a date"))
        return None, None
    try:
        return _agreed(path, day, times, problems)
    except BadTimeError as bad:
        problems.append(InputProblem(f"{path}.birthDate", "birth", bad.message, bad.value, EXAMPLE))
    return None, None


def _agreed(
    path: str, day: object, times: list[object], problems: list[InputProblem]
) -> tuple[str | None, date | None]:
    """Return the time of birth where it is given and agrees with the day, else the day."""
    born_on = None if day is None else parse(day)
    if isinstance(born_on, datetime):
        raise BadTimeError("a birth date carries no time of day", day)
    if not times:
        return text(day), born_on
    exact = parse(times[0])
    if not isinstance(exact, datetime):
        return text(day or times[0]), exact if born_on is None else born_on
    if any(other != times[0] for other in times) or (born_on is not None and not _falls_on(exact, born_on)):
        values = ", ".join(map(shown, (day, *times)))
        problems.append(
            InputProblem(f"{path}.birthDate", "contradiction", "birth date and birth time differ", values, "one day")
        )
        return None, None
    return text(times[0]), exact


def _falls_on(moment: datetime, day: date) -> bool:
    """Whether a time is of a day: by its own offset, and one that is written in UTC by any offset in use."""
    if not is_utc(moment):
        return moment.date() == day
    return (moment - WEST).date() <= day <= (moment + EAST).date()


def _when(
    inputs: Inputs, people: People, encounter: Entry | None, at: str | None, problems: list[InputProblem], exam: str
) -> tuple[str | None, datetime | None, datetime | None]:
    """Return the moment as text and parsed, and the last moment that still belongs to the visit."""
    period = mapping(encounter.resource.get("period")) if encounter else {}
    try:
        start = at if at is not None else period.get("start")
        moment = parse(start, "start") if start is not None else None
        if isinstance(moment, datetime):
            return text(start), moment, moment if at is not None else _limit(encounter, moment, period.get("end"))
        if at is not None:
            raise BadTimeError("the moment of a visit needs a time of day", at, "at")
    except BadTimeError as bad:
        where = "at" if at is not None else f"{_place(encounter)[:-6]}.{bad.key}"
        expected = "a time with offset such as 2026-11-24T10:00:00-06:00" if at is not None else EXAMPLE
        problems.append(InputProblem(where, "time", bad.message, bad.value, expected))
        return None, None, None
    latest = max(_timed(inputs, people, exam), key=lambda timed: timed.first, default=None)
    if latest is not None:
        if latest.first != latest.moment:
            what = "the latest time of all is a day; the end of that day is taken as the moment of the visit"
            inputs.notices.append(f"{latest.entry.path}: {what}")
        return latest.text, latest.moment, latest.moment
    if people.baby is not None:
        message = "the moment of the visit is not known"
        problems.append(
            InputProblem(_place(encounter), "time", message, "", "Encounter.period.start or a timed Observation")
        )
    return None, None, None


def _limit(encounter: Entry | None, start: datetime, end: object) -> datetime:
    """Return the end of the Encounter; of one that is still going on, the end of its day."""
    if end is not None:
        moment = parse(end, "end")
        if not isinstance(moment, datetime):
            moment = datetime.combine(moment, time.max, start.tzinfo)
        if moment < start:
            raise BadTimeError("the Encounter ends before it begins", end, "end", "contradiction")
        return moment
    if encounter is not None and encounter.resource.get("status") in _GOING_ON:
        return datetime.combine(start.date(), time.min, start.tzinfo) + timedelta(days=1, microseconds=-1)
    return start


class _Timed(NamedTuple):
    """When something was found: a moment and its text, or a day's first and last moment."""

    first: datetime
    moment: datetime
    text: str
    entry: Entry


def _timed(inputs: Inputs, people: People, exam: str) -> list[_Timed]:
    """Return the times of what stands: the newborn's Observations (inside reports too), responses to the exam.

    A day counts as its end, where the newborn was born or else in UTC, unless there is a moment of that day.
    """
    timed = []
    zone = _zone_of_birth(people)
    reports = (entry for entry in inputs.of("DiagnosticReport") if entry.contained)
    for entry in (*inputs.of("Observation"), *inputs.of("QuestionnaireResponse"), *reports):
        if entry.resource.get("status") in _WITHDRAWN or _is_announced(entry):
            continue
        link = entry.resource.get("subject")
        if (people.who(link, entry) if link is not None else people.alone and "baby") != "baby":
            continue
        try:
            said, moment = (
                _authored(entry, exam) if entry.kind == "QuestionnaireResponse" else effective(entry.resource)
            )
        except BadTimeError:
            continue
        if isinstance(moment, datetime) and said is not None:
            timed.append(_Timed(moment, moment, said, entry))
        elif moment is not None:
            end = datetime.combine(moment, time(23, 59, 59), zone)
            timed.append(_Timed(datetime.combine(moment, time.min, zone), end, end.isoformat(), entry))
    return timed


def _is_announced(entry: Entry) -> bool:
    """Whether it is registered only, without any value yet."""
    if entry.resource.get("status") != "registered":
        return False
    holders = (entry.resource, *items(entry.resource.get("component")))
    return not any(key.startswith("value") for holder in holders for key in holder)


def _zone_of_birth(people: People) -> tzinfo:
    times = birth_time(people.baby.resource) if people.baby else []
    try:
        born = parse(times[0]) if times else None
    except BadTimeError:
        born = None
    return (born.tzinfo if isinstance(born, datetime) else None) or UTC


def _authored(entry: Entry, exam: str) -> tuple[str | None, date | None]:
    """Return when a response to the exam was authored; one to another questionnaire says nothing of this visit."""
    said = text(entry.resource.get("authored"))
    if not said or text(entry.resource.get("questionnaire")).partition("|")[0] != exam:
        return None, None
    return said, parse(said, "authored")
