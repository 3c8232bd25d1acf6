"""A whole record: one visit of it is named, what is later is not used, and days without a time still say when."""

from __future__ import annotations

from typing import Any

import pytest
from support.foreign import foreign
from support.read_samples import AT, bundle, codes, encounter, observation, own, pack, patient

from layette.engine import load_pack
from layette.mapping.answering import answer
from layette.mapping.read import read

VISITS = ("8d78b15d-6e41-45d9-b369-c11917556707", "c7ea660a-af50-4fc8-8403-603a1b366339")


@pytest.mark.parametrize("visit", VISITS)
def test_a_newborn_visit_of_a_record_of_years_is_assessed(visit: str) -> None:
    found = answer(foreign("synthea-whole.json"), load_pack(), encounter=visit, readers=("native",))
    later = [entry for entry in found.account.not_used if entry.why == "after the visit"]
    assert len(later) > 15
    assert found.account.counts.refused == 0
    times = [reading["time"][:10] for one in found.visit["findings"].values() for reading in one if "time" in reading]
    assert max(times) == found.visit["at"][:10]


def later(**more: Any) -> dict[str, Any]:
    return observation(own("feeding_well"), valueString="yes", effectiveDateTime="2026-12-24T10:00:00-06:00", **more)


def test_what_lies_after_a_named_visit_is_not_used() -> None:
    result = read(bundle(patient(), encounter(), later(encounter=None)), pack(), encounter="visit")
    assert result.problems == ()
    assert [one.why for one in result.not_used] == ["after the visit"]


def test_what_is_of_the_named_visit_and_dated_after_it_is_a_mistake() -> None:
    assert codes(read(bundle(patient(), encounter(), later()), pack(), encounter="visit")) == ["time"]


def test_what_lies_after_a_visit_that_nobody_named_is_a_mistake() -> None:
    assert codes(read(bundle(patient(), encounter(), later(encounter=None)), pack())) == ["time"]


def test_days_without_a_time_tell_the_moment_of_a_visit() -> None:
    day = observation(own("feeding_well"), valueString="yes", effectiveDateTime="2026-11-25", encounter=None)
    result = read(bundle(patient(), day), pack())
    assert result.visit["at"] == "2026-11-25T23:59:59-06:00"
    assert "the end of that day" in result.notices[0]


def test_a_moment_of_the_same_day_is_better_than_the_day() -> None:
    day = observation(own("feeding_well"), valueString="yes", effectiveDateTime=AT[:10], encounter=None, id="o2")
    exact = observation(own("fever_at_home"), valueString="no", encounter=None)
    result = read(bundle(patient(), day, exact), pack())
    assert result.visit["at"] == AT
    assert result.notices == ()


def test_a_subject_and_an_encounter_of_two_babies_are_refused() -> None:
    twin = patient() | {"id": "nora", "identifier": [{"system": "urn:example", "value": "8"}]}
    hers = encounter() | {"id": "hers", "subject": {"reference": "Patient/nora"}}
    both = bundle(patient(), encounter(), twin, hers)
    result = read(both, pack(), subject="Patient/mara", encounter="hers")
    assert [(p.path, p.code) for p in result.problems] == [("Bundle.entry[3].resource.subject", "patient")]
    assert read(both, pack(), subject="Patient/nora", encounter="hers").problems == ()


OTHERS = [
    {"reference": "Patient/twin"},
    {"reference": "Patient/away"},
    {"identifier": {"system": "urn:x", "value": "2"}},
]


@pytest.mark.parametrize("subject", OTHERS)
def test_a_named_encounter_that_is_not_of_the_named_newborn_is_an_error(subject: dict[str, Any]) -> None:
    twin = patient(id="twin", identifier=[{"system": "urn:x", "value": "2"}])
    other = encounter(id="other", subject=subject)
    result = read(bundle(patient(), twin, other), pack(), subject="Patient/mara", encounter="Encounter/other")
    assert [one.path for one in result.problems] == ["Bundle.entry[2].resource.subject"]
    assert "named Patient" in result.problems[0].message


def test_a_day_alone_as_the_moment_is_told_what_would_be_right_and_no_day() -> None:
    result = read(bundle(patient(), encounter()), pack(), at="2026-05-20")
    (problem,) = (one for one in result.problems if one.path == "at")
    assert "needs a time of day" in problem.message
    assert "a date" not in problem.expected
