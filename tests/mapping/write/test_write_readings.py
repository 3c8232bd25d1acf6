"""Readings as they go out: of another visit, of a whole day, in a unit that a profile does not know."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from layette.engine.api import load_pack
from layette.mapping.door import checked_output
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.read import read
from layette.mapping.write import to_bundle
from layette.mapping.write.words.quantities import converted

BORN, AT, DAY = "2026-11-20T08:30:00-06:00", "2026-11-24T10:00:00-06:00", "2026-11-24"
PATIENT = {
    "resourceType": "Patient", "id": "mara", "birthDate": "2026-11-20", "gender": "female",
    "_birthDate": {"extension": [{"url": "http://hl7.org/fhir/StructureDefinition/patient-birthTime",
                                  "valueDateTime": BORN}]},
}  # fmt: skip
ENCOUNTER = {
    "resourceType": "Encounter", "id": "1", "status": "finished", "class": {"code": "AMB"},
    "subject": {"reference": "Patient/mara"}, "period": {"start": AT, "end": AT},
}  # fmt: skip


def written(findings: dict[str, Any], earlier: dict[str, Any] | None = None) -> list[dict[str, Any]]:
    visit = {
        "patient": "Patient/mara", "encounter": "Encounter/1", "born": BORN, "at": AT, "sex_at_birth": "female",
        "findings": findings, "history": {"findings": earlier or {}},
    }  # fmt: skip
    pack = load_pack()
    bundle = checked_output(to_bundle(pack.assess(visit, readers=["native"]), pack, visit=visit))
    found = [entry["resource"] for entry in bundle["entry"]]
    return [one for one in found if one["resourceType"] == "Observation" and "tag" not in one.get("meta", {})]


def back(observations: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the flat visit that is read from what was written."""
    numbered = [one | {"id": f"o{index}"} for index, one in enumerate(observations)]
    entries = [{"resource": one} for one in (PATIENT, ENCOUNTER, *numbered)]
    result = read(
        loads(dumps({"resourceType": "Bundle", "type": "collection", "entry": entries}).encode()), load_pack()
    )
    assert result.problems == ()
    return dict(result.visit)


def test_an_earlier_reading_does_not_go_out_with_todays_encounter_and_is_read_back_as_history() -> None:
    made = written({}, {"weight": {"value": "3290", "unit": "g", "time": "2026-11-22T09:00:00-06:00"}})
    assert "encounter" not in made[0]
    visit = back(made)
    assert "weight" not in visit["findings"]
    assert [one["value"] for one in visit["history"]["findings"]["weight"]] == ["3290"]


def test_a_reading_of_the_day_of_the_visit_goes_out_as_a_date_and_is_read_back() -> None:
    [made] = written({"weight": {"value": "3290", "unit": "g", "time": DAY}})
    assert made["effectiveDateTime"] == DAY
    assert [one["time"] for one in back([made])["findings"]["weight"]] == [DAY]


@pytest.mark.parametrize(
    ("finding", "value", "unit", "number", "code"),
    [
        ("length", "495", "mm", "49.5", "cm"),
        ("length", "500", "mm", "50.0", "cm"),
        ("head_circumference", "352", "mm", "35.2", "cm"),
        ("weight", "111.5", "[oz_av]", "3.1609718284375", "kg"),
        ("weight", "7.25", "[lb_av]", "7.25", "[lb_av]"),
        ("temperature", "98.6", "[degF]", "98.6", "[degF]"),
    ],
)
def test_a_vital_sign_is_written_in_a_unit_of_its_profile(
    finding: str, value: str, unit: str, number: str, code: str
) -> None:
    [made] = written({finding: {"value": value, "unit": unit}})
    assert str(made["valueQuantity"]["value"]) == number
    assert made["valueQuantity"]["code"] == code
    assert made["meta"]["profile"]
    assert [note["text"] for note in made.get("note", ())] == ([f"Given as {value} {unit}."] if code != unit else [])


def test_a_bound_is_converted_too_and_a_range_keeps_its_code_without_the_profile() -> None:
    [bound] = written({"length": {"value": {"more_than": 500}, "unit": "mm"}})
    assert (bound["valueQuantity"]["value"], bound["valueQuantity"]["comparator"]) == (Decimal("50.0"), ">")
    assert bound["note"] == [{"text": "Given as more than 500 mm."}]
    [between] = written({"length": {"value": {"between": [490, 500]}, "unit": "mm"}})
    assert between["valueRange"]["low"]["value"] == Decimal("49.0")
    assert "profile" not in between.get("meta", {})
    assert "8302-2" in [one["code"] for one in between["code"]["coding"]]


def test_what_no_decimal_can_say_is_not_converted() -> None:
    assert converted("1", "umol/L", "mg/dL", None) is None
    assert converted("38", "Cel", "[degF]", None) is None
    assert converted("1", "kg", "cm", None) is None
