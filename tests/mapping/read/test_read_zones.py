"""A server that sends UTC loses and refuses nothing: days are those of the place, or the span that they may be."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import bundle, codes, encounter, loinc, observation, pack, patient, quantity

from layette.engine import load_pack
from layette.mapping.answering import answer
from layette.mapping.fhir_json import dumps
from layette.mapping.read import ReadResult, read

BIRTH_TIME = "http://hl7.org/fhir/StructureDefinition/patient-birthTime"
EVENING = ("2026-11-25T01:00:00Z", "2026-11-25T01:40:00Z")


def visit(start: str, end: str) -> dict[str, Any]:
    return encounter(period={"start": start, "end": end})


def born(time: str | None, day: str = "2026-11-20") -> dict[str, Any]:
    found = patient(birthDate=day)
    if time is None:
        return {key: value for key, value in found.items() if key != "_birthDate"}
    return found | {"_birthDate": {"extension": [{"url": BIRTH_TIME, "valueDateTime": time}]}}


def weighed(time: str) -> dict[str, Any]:
    return observation(
        loinc("29463-7"), valueQuantity=quantity("3150", "g"), effectiveDateTime=time, encounter=None, id="w"
    )


def at_birth(time: str) -> dict[str, Any]:
    return observation(
        loinc("8339-4"), valueQuantity=quantity("3300", "g"), effectiveDateTime=time, encounter=None, id="bw"
    )


def of_this_visit(result: ReadResult) -> list[str]:
    assert result.problems == ()
    return sorted(result.visit.get("findings", {}))


@pytest.mark.parametrize("time", ["2026-11-20T08:30:00-06:00", None])
def test_a_weight_of_the_local_day_belongs_to_an_evening_visit_in_utc(time: str | None) -> None:
    assert of_this_visit(read(bundle(born(time), visit(*EVENING), weighed("2026-11-24")), pack())) == ["weight"]


def test_a_weight_of_a_local_day_ahead_of_utc_is_not_after_the_visit() -> None:
    early = visit("2026-11-23T22:00:00Z", "2026-11-23T22:40:00Z")
    assert of_this_visit(read(bundle(born(None), early, weighed("2026-11-24")), pack())) == ["weight"]
    result = read(bundle(born(None), early, weighed("2026-11-24")), pack(), zone="Pacific/Auckland")
    assert of_this_visit(result) == ["weight"]


def test_the_zone_of_the_site_decides_first() -> None:
    content = bundle(born("2026-11-20T08:30:00-06:00"), visit(*EVENING), weighed("2026-11-24"))
    assert of_this_visit(read(content, pack(), zone="Europe/Berlin")) == []
    assert of_this_visit(read(content, pack(), zone="America/Chicago")) == ["weight"]


def test_the_day_before_and_the_day_after_are_told_apart_where_the_birth_says_where() -> None:
    about = born("2026-11-20T08:30:00-06:00")
    assert of_this_visit(read(bundle(about, visit(*EVENING), weighed("2026-11-23")), pack())) == []
    assert codes(read(bundle(about, visit(*EVENING), weighed("2026-11-25")), pack())) == ["time"]


LATE = ["2026-11-20T23:30:00-05:00", "2026-11-21T04:30:00Z", "2026-11-21T04:30:00+00:00"]


@pytest.mark.parametrize("time", LATE)
@pytest.mark.parametrize("start", ["2026-11-24T10:00:00-06:00", "2026-11-24T10:00:00-04:00", "2026-11-24T16:00:00Z"])
def test_a_birth_weight_of_the_birth_date_is_never_before_birth(time: str, start: str) -> None:
    content = bundle(born(time), visit(start, start), at_birth("2026-11-20"))
    found = answer(dumps(content).encode(), load_pack(), readers=("native",))
    assert found.account.counts.refused == 0
    assert "birth_weight" in found.visit.get("findings", {}) | found.visit["history"]["findings"]


def test_a_day_before_birth_is_still_refused() -> None:
    about = born("2026-11-20T23:30:00-05:00")
    assert codes(read(bundle(about, visit(*EVENING), at_birth("2026-11-19")), pack())) == ["time"]


@pytest.mark.parametrize("time", ["2026-11-22T04:30:00Z", "2026-11-21T00:30:00-05:00"])
def test_a_birth_time_of_another_day_contradicts_the_birth_date(time: str) -> None:
    assert "contradiction" in codes(read(bundle(born(time), visit(*EVENING)), pack()))
