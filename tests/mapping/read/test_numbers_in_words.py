"""Numbers as charts and laboratories write them: with a comparator, in weeks and days, in the unit of their code."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import LOINC, concept, observation, quantity, visit_bundle

from layette.engine import load_pack
from layette.mapping.answering import answer
from layette.mapping.read import ReadResult, read

BORN = {"encounter": None, "effectiveDateTime": "2026-11-20"}
GESTATION, WEEKS, DAYS = (concept(LOINC, code) for code in ("76516-4", "49051-6", "49052-4"))


def taken(*sent: dict[str, Any]) -> ReadResult:
    return read(visit_bundle(*sent), load_pack())


def readings(finding: str, *sent: dict[str, Any]) -> list[dict[str, Any]]:
    visit = taken(*sent).require().visit
    found: list[dict[str, Any]] = {**visit["findings"], **visit.get("history", {}).get("findings", {})}[finding]
    return found


def one(finding: str, *sent: dict[str, Any]) -> dict[str, Any]:
    (reading,) = readings(finding, *sent)
    return {key: reading[key] for key in ("value", "unit", "given") if key in reading}


@pytest.mark.parametrize(
    ("said", "value"),
    [
        (">25 mg/dL", {"more_than": "25"}),
        (">= 25 mg/dl", {"at_least": "25"}),
        ("< 0.5 mg/dL", {"below": "0.5"}),
        ("25 mg/dL", "25"),
    ],
)
def test_a_number_with_a_comparator(said: str, value: object) -> None:
    sent = observation(concept(LOINC, "1975-2"), valueString=said)
    assert one("serum_bilirubin", sent) == {"value": value, "unit": "mg/dL", "given": said}


@pytest.mark.parametrize(
    "said", ["36w2d", "36w 2d", "36 wk, 2 d", "36 weeks and 2 days", "36 Weeks 2 Days", "36+2", "36 + 2", "36 2/7",
             "36 2/7 weeks"]
)  # fmt: skip
def test_weeks_and_days(said: str) -> None:
    assert one("gestational_age", observation(GESTATION, valueString=said, **BORN)) == {
        "value": "254", "unit": "d", "given": said
    }  # fmt: skip


@pytest.mark.parametrize("said", ["36", "36/2", "36w9d", "362", "36.2/7", "about 36+2", "36-37 weeks"])
def test_what_may_mean_anything_else_is_kept_and_told(said: str) -> None:
    (kept,) = taken(observation(GESTATION, valueString=said, **BORN)).require().not_understood
    assert kept["finding"] == "gestational_age"


def test_weeks_and_days_are_no_text_of_another_finding() -> None:
    (kept,) = taken(observation(concept(LOINC, "29463-7"), valueString="36+2")).require().not_understood
    assert kept["finding"] == "weight"


def test_weeks_and_days_in_two_components_are_one_age() -> None:
    parts = [
        {"code": WEEKS, "valueQuantity": quantity("36", "wk")},
        {"code": DAYS, "valueQuantity": quantity("2", "d")},
    ]
    for sent in (parts, parts[::-1]):
        assert one("gestational_age", observation(concept(LOINC, "18185-9"), component=sent, **BORN))["value"] == "254"
    whole = {"code": DAYS, "valueQuantity": quantity("254", "d")}
    both = observation(concept(LOINC, "18185-9"), component=[parts[0], whole], **BORN)
    assert [reading["value"] for reading in readings("gestational_age", both)] == ["36", "254"]


def test_a_code_that_names_its_unit_needs_no_other() -> None:
    assert one("gestational_age", observation(WEEKS, valueInteger=37, **BORN)) == {"value": "37", "unit": "wk"}
    bare = observation(WEEKS, valueQuantity={"value": 37}, **BORN)
    assert one("gestational_age", bare)["unit"] == "wk"
    days = observation(WEEKS, valueQuantity=quantity("259", "d"), **BORN)
    assert one("gestational_age", days)["unit"] == "d"
    assert [problem.code for problem in taken(observation(GESTATION, valueInteger=37, **BORN)).problems] == ["unit"]


@pytest.mark.parametrize("unit", ["br/min", "breaths/min", "resp/min", "BRPM"])
def test_breaths_as_they_are_printed(unit: str) -> None:
    sent = observation(concept(LOINC, "9279-1"), valueQuantity={"value": 85, "unit": unit})
    assert one("breathing_rate", sent)["unit"] == "/min"


@pytest.mark.parametrize(("code", "unit", "taken_as"), [("1975-2", "mg/dl", "mg/dL"), ("14631-6", "umol/l", "umol/L")])
def test_the_liter_with_a_small_letter(code: str, unit: str, taken_as: str) -> None:
    sent = observation(concept(LOINC, code), valueQuantity=quantity("300", unit))
    assert readings("serum_bilirubin", sent)[0]["unit"] == taken_as


def test_a_resource_that_stands_in_a_bundle_twice_stops_no_visit() -> None:
    hot = observation(concept(LOINC, "8310-5"), valueQuantity=quantity("38.6", "Cel"))
    given = visit_bundle(hot, hot)
    for entry in given["entry"]:
        entry["fullUrl"] = f"https://ehr.example.org/{entry['resource']['resourceType']}/{entry['resource']['id']}"
    found = answer(given, load_pack(), readers=["native"])
    assert found.assessment.verdict.now > 0
    assert len(found.visit["findings"]["temperature"]) == 1
