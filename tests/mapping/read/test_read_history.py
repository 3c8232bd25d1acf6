"""Reading diagnoses, orders, guidance, procedures and vaccines."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import (
    BASE,
    SNOMED,
    codes,
    concept,
    one_reading,
    read_visit,
    resource,
    whys,
)

CLINICAL = "http://terminology.hl7.org/CodeSystem/condition-clinical"
VERIFICATION = "http://terminology.hl7.org/CodeSystem/condition-ver-status"
TARGETS = f"{BASE}/CodeSystem/targets"


def condition(
    code: dict[str, Any], clinical: str | None = "active", verification: str = "confirmed", **more: Any
) -> dict[str, Any]:
    found = resource("Condition", code=code, encounter={"reference": "Encounter/visit"}, **more)
    found["verificationStatus"] = concept(VERIFICATION, verification)
    return found | ({"clinicalStatus": concept(CLINICAL, clinical)} if clinical else {})


def snomed(code: str) -> dict[str, Any]:
    return concept(SNOMED, code)


def test_an_active_diagnosis_states_a_value() -> None:
    reading = one_reading(read_visit(condition(snomed("88610006"))), "murmur")
    assert reading == {
        "value": "present",
        "status": "final",
        "origin": "Condition/condition",
        "path": "Bundle.entry[2].resource.code",
    }
    tentative = one_reading(read_visit(condition(snomed("88610006"), verification="provisional")), "murmur")
    assert tentative["status"] == "preliminary"


def test_a_diagnosis_that_leaves_the_value_open_is_a_coarse_value() -> None:
    assert one_reading(read_visit(condition(snomed("387712008"))), "jaundice")["value"] == "visible"


def test_the_side_of_a_diagnosis() -> None:
    assert one_reading(read_visit(condition(snomed("767002009"))), "hip_dislocation")["side"] == "left"
    both = read_visit(condition(snomed("48334007"), bodySite=[snomed("7771000"), snomed("24028007")])).require()
    assert [r["side"] for r in both.visit["findings"]["hip_dislocation"]] == ["left", "right"]
    assert "no side" in whys(read_visit(condition(snomed("48334007"))))[0]


@pytest.mark.parametrize(
    ("clinical", "verification"),
    [("active", "refuted"), ("active", "entered-in-error"), ("active", "differential"), ("resolved", "confirmed")],
)
def test_a_diagnosis_that_does_not_stand_is_kept(clinical: str, verification: str) -> None:
    result = read_visit(condition(snomed("88610006"), clinical, verification)).require()
    assert (result.visit["findings"], result.counts.not_understood) == ({}, 1)


def test_diagnoses_of_other_times_and_unknown_ones() -> None:
    earlier = condition(snomed("88610006"), recordedDate="2026-11-21")
    del earlier["encounter"]
    assert read_visit(earlier).require().visit["history"]["findings"]["murmur"][0]["time"] == "2026-11-21"
    assert codes(read_visit(condition(snomed("88610006"), recordedDate="2026-11-19"))) == ["time"]
    assert "states no finding" in whys(read_visit(condition(snomed("57891003"))))[0]
    bare = condition(snomed("88610006"), clinical=None)
    del bare["encounter"]
    assert "neither a clinical status" in whys(read_visit(bare))[0]


def test_codes_of_a_diagnosis_that_exclude_each_other() -> None:
    tag = {"system": f"{BASE}/CodeSystem/tags", "code": "computed"}
    assert read_visit(condition(snomed("88610006"), meta={"tag": [tag]})).require().counts.not_used == 1


@pytest.mark.parametrize(
    "given",
    [
        {"code": concept(TARGETS, "ophthalmology")},
        {"code": snomed("308479007")},
        {
            "code": {"text": "eyes"},
            "identifier": [
                {"system": f"{BASE}/identifier/request-key", "value": "Patient/mara|refer|ophthalmology|once"}
            ],
        },
    ],
)
def test_orders(given: dict[str, Any]) -> None:
    order = resource(
        "ServiceRequest",
        status="active",
        intent="order",
        priority="urgent",
        bodySite=[snomed("7771000")],
        authoredOn="2026-11-22T09:00:00-06:00",
        **given,
    )
    (found,) = read_visit(order).require().visit["history"]["orders"]
    key = found.pop("request_key", None)
    assert found == {
        "target": "ophthalmology",
        "side": "left",
        "status": "active",
        "priority": "urgent",
        "time": "2026-11-22T09:00:00-06:00",
        "reference": "ServiceRequest/servicerequest",
    }
    assert key == (given["identifier"][0]["value"] if "identifier" in given else None)


def test_orders_that_are_not_understood_or_wrong() -> None:
    assert (
        "nothing that the pack knows"
        in whys(read_visit(resource("ServiceRequest", status="active", code=snomed("1"))))[0]
    )
    error = resource("ServiceRequest", status="entered-in-error", code=snomed("308479007"))
    assert read_visit(error).counts.not_used == 1
    naive = resource("ServiceRequest", status="active", code=snomed("308479007"), authoredOn="2026-11-22T09:00:00")
    assert codes(read_visit(naive)) == ["time"]


def test_guidance_given() -> None:
    told = resource(
        "Communication", status="completed", topic=concept(TARGETS, "safe-sleep"), sent="2026-11-22T09:00:00-06:00"
    )
    taught = resource("Procedure", status="completed", code=snomed("385870001"), performedDateTime="2026-11-22")
    result = read_visit(told, taught).require()
    assert result.visit["history"]["guidance"] == [
        {"topic": "safe_sleep", "time": "2026-11-22T09:00:00-06:00", "reference": "Communication/communication"},
        {"topic": "car_seat", "time": "2026-11-22", "reference": "Procedure/procedure"},
    ]
    unsaid = {**told, "status": "not-done"}
    assert read_visit(unsaid).not_used[0].why == "its status is not-done, so it does not say that it was done"
    assert read_visit({**told, "topic": {"text": "weather"}}).counts.not_understood == 1
    assert codes(read_visit({**told, "sent": "2027-01-01"})) == ["time"]


def test_a_procedure_carries_out_an_order() -> None:
    done = resource("Procedure", status="completed", code=concept(TARGETS, "serum_bilirubin_test"))
    assert read_visit(done).require().visit["history"]["orders"][0]["status"] == "completed"
    assert read_visit({**done, "code": {"text": "a bath"}}).counts.not_understood == 1


def vaccine(code: str, **more: Any) -> dict[str, Any]:
    return {
        "resourceType": "Immunization",
        "id": "i1",
        "status": "completed",
        "patient": {"reference": "Patient/mara"},
        "vaccineCode": concept("http://hl7.org/fhir/sid/cvx", code),
        "occurrenceDateTime": "2026-11-20T12:00:00-06:00",
        **more,
    }


def test_vaccines() -> None:
    result = read_visit(vaccine("08")).require()
    time, reference = "2026-11-20T12:00:00-06:00", "Immunization/i1"
    assert result.visit["history"]["immunizations"] == [
        {"code": "hepatitis_b_vaccine", "time": time, "reference": reference}
    ]
    assert result.visit["history"]["findings"]["hepatitis_b_vaccine"][0]["value"] == "given"
    assert read_visit(vaccine("999")).visit["history"]["immunizations"][0]["code"] == "cvx:999"
    refused = read_visit(vaccine("08", status="not-done")).require()
    assert refused.visit["history"]["findings"]["hepatitis_b_vaccine"][0]["absent"] == "not-performed"
    assert "immunizations" not in refused.visit["history"]
    assert read_visit(vaccine("08", vaccineCode={"text": "the first one"})).counts.not_understood == 1
    assert read_visit(vaccine("08", status="entered-in-error")).counts.not_used == 1
