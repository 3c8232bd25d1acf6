"""FHIR times: which element gives an Observation's time, what is exact, and what lies outside the visit."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest

from layette.mapping.read.bundle.times import BadTimeError, VisitSpan, birth_time, effective, effective_key, parse

FIRST, LAST = "2026-11-24T10:00:00-06:00", "2026-11-25T08:00:00-06:00"
EVENING = timezone(timedelta(hours=-6))


@pytest.mark.parametrize(
    ("resource", "expected"),
    [
        ({}, None),
        ({"effectiveDateTime": FIRST}, FIRST),
        ({"effectiveInstant": FIRST}, FIRST),
        ({"effectivePeriod": {"start": FIRST, "end": LAST}}, LAST),  # known when the day is over
        ({"effectivePeriod": {"start": FIRST}}, FIRST),
        ({"effectiveTiming": {"event": [FIRST]}}, FIRST),
    ],
)
def test_the_effective_time_is_that_of_its_element(resource: dict[str, Any], expected: str | None) -> None:
    written, found = effective(resource)
    assert written == expected
    assert found == (datetime.fromisoformat(expected) if expected else None)
    assert effective_key(resource) == next(iter(resource), "")


@pytest.mark.parametrize(
    ("resource", "key"),
    [
        ({"effectiveTiming": {"event": FIRST}}, "effectiveTiming"),
        ({"effectivePeriod": {}}, "effectivePeriod"),
        ({"effectivePeriod": "yesterday"}, "effectivePeriod"),
        ({"effectiveDateTime": 20261124}, "effectiveDateTime"),
    ],
)
def test_what_gives_no_single_time_is_refused_by_its_element(resource: dict[str, Any], key: str) -> None:
    with pytest.raises(BadTimeError) as caught:
        effective(resource)
    assert (caught.value.key, caught.value.code, caught.value.message) == (key, "time", "this is not a time")


@pytest.mark.parametrize("timing", [{"event": []}, {"event": [FIRST, LAST]}, {"repeat": {"frequency": 3}}])
def test_a_timing_is_a_time_only_where_it_has_exactly_one_event_and_is_vague_else(timing: dict[str, Any]) -> None:
    with pytest.raises(BadTimeError) as caught:
        effective({"effectiveTiming": timing})
    assert (caught.value.key, caught.value.vague) == ("effectiveTiming", True)


def test_two_effective_times_contradict_each_other() -> None:
    with pytest.raises(BadTimeError) as caught:
        effective({"effectiveDateTime": FIRST, "effectiveInstant": FIRST})
    assert (caught.value.code, caught.value.message) == ("contradiction", "two effective times")
    assert caught.value.value == "effectiveDateTime, effectiveInstant"


@pytest.mark.parametrize(
    ("written", "message", "vague"),
    [
        ("2026", "the time is not known to the day", True),
        ("2026-11", "the time is not known to the day", True),
        ("2026-13", "this is not a time", False),
        ("2026-11-2", "this is not a time", False),
        ("20261124T10", "this is not a time", False),
        ("2026-11/24", "this is not a time", False),
        ("2026-11-24 10:00:00Z", "this is not a time", False),
        ("2026-02-30", "this is not a time", False),
        ("2026-11-24T10:00:00", "the time has no offset from UTC", False),
        ("1899-12-31", "this year cannot be right", False),
        ("2200-01-01T00:00:00Z", "this year cannot be right", False),
        (None, "this is not a time", False),
    ],
)
def test_what_is_no_usable_time_is_refused_and_says_why(written: Any, message: str, vague: bool) -> None:
    with pytest.raises(BadTimeError) as caught:
        parse(written, "issued")
    assert (caught.value.message, caught.value.vague, caught.value.key) == (message, vague, "issued")


@pytest.mark.parametrize("written", ["1900-01-01", "2199-12-31", "2026-11-24"])
def test_a_date_alone_stays_a_date(written: str) -> None:
    assert parse(written) == date.fromisoformat(written)
    assert not isinstance(parse(written), datetime)


def test_a_birth_time_stands_on_the_birth_date_or_on_the_patient() -> None:
    url = "http://hl7.org/fhir/StructureDefinition/patient-birthTime"
    other = {"url": "http://hl7.org/fhir/StructureDefinition/patient-religion", "valueDateTime": LAST}
    on_date = {"_birthDate": {"extension": [{"url": url, "valueDateTime": FIRST}, other]}}
    assert birth_time(on_date) == [FIRST]
    assert birth_time({"extension": [other, {"url": url, "valueDateTime": LAST}], **on_date}) == [FIRST, LAST]
    assert birth_time({}) == []


BORN = datetime(2026, 11, 20, 8, tzinfo=EVENING)
AT = datetime(2026, 11, 24, 22, tzinfo=EVENING)
CLOCK = VisitSpan(BORN, AT, AT + timedelta(hours=3))  # until 1 o'clock at night


@pytest.mark.parametrize(
    ("moment", "same_day", "before_birth", "after_visit"),
    [
        (AT, True, False, False),
        (AT + timedelta(hours=3), True, False, False),
        (AT + timedelta(hours=3, seconds=1), True, False, True),
        (AT - timedelta(hours=22), True, False, False),
        (AT - timedelta(hours=22, seconds=1), False, False, False),
        (datetime(2026, 11, 24, 5, tzinfo=UTC), False, False, False),  # the evening before, on the clock of the visit
        (datetime(2026, 11, 26, 6, tzinfo=UTC), False, False, True),
        (date(2026, 11, 24), True, False, False),
        (date(2026, 11, 25), True, False, False),  # a day that has begun before the visit ends
        (date(2026, 11, 26), False, False, True),
        (date(2026, 11, 23), False, False, False),
        (BORN, False, False, False),
        (BORN - timedelta(seconds=1), False, True, False),
        (date(2026, 11, 20), False, False, False),  # may be after birth
        (date(2026, 11, 19), False, True, False),
    ],
)
def test_a_moment_lies_before_birth_in_the_visit_or_after_it(
    moment: date, same_day: bool, before_birth: bool, after_visit: bool
) -> None:
    found = (CLOCK.same_day(moment), CLOCK.before_birth(moment), CLOCK.after_visit(moment))
    assert found == (same_day, before_birth, after_visit)


def test_days_are_counted_in_the_offset_of_the_visit_then_of_birth_then_in_utc() -> None:
    day = date(2026, 11, 24)
    assert CLOCK.first(day) == datetime(2026, 11, 24, tzinfo=EVENING)
    assert VisitSpan(BORN, None, None).first(day) == datetime(2026, 11, 24, tzinfo=EVENING)
    assert VisitSpan(date(2026, 11, 20), None, None).first(day) == datetime(2026, 11, 24, tzinfo=UTC)


def test_without_a_visit_or_a_birth_nothing_is_outside() -> None:
    unknown = VisitSpan(None, None, None)
    assert (unknown.same_day(AT), unknown.before_birth(AT), unknown.after_visit(AT)) == (True, False, False)
