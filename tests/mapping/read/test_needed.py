"""Only what is wrong where it is used stops a record; the rest of what is broken is named and counted."""

from __future__ import annotations

from typing import Any

import pytest
from support.foreign import foreign
from support.read_samples import bundle, encounter, observation, own, patient, visit_bundle

from layette.engine import InputError, load_pack
from layette.mapping.answering import answer
from layette.mapping.door import check_input
from layette.mapping.fhir_json import dumps, loads

RECORDS = (
    "screening-result-abnormal-1.json", "screening-result-abnormal-2.json", "screening-result-normal.json",
    "synthea-cut-1-35d.json", "synthea-cut-2-1d.json", "synthea-cut-3-0d.json",
)  # fmt: skip


@pytest.mark.parametrize("name", RECORDS)
def test_a_record_as_it_comes_is_assessed_and_every_entry_accounted_for(name: str) -> None:
    found = answer(foreign(name), load_pack(), readers=("native",))
    counts = found.account.counts
    assert counts.refused == 0
    assert counts.used + counts.not_understood + counts.not_used == counts.entries
    assert found.to_fhir(load_pack())["resourceType"] == "Bundle"


def test_an_invalid_resource_that_nothing_needs_is_named_and_counted() -> None:
    nameless = {"resourceType": "Organization", "alias": "x"}
    empty = {"resourceType": "Provenance", "recorded": "2026-05-15T10:00:00Z"}
    found = answer(visit_bundle(observation(own("cord_attached"), valueBoolean=True), nameless, empty), load_pack())
    said = [notice for notice in found.assessment.notices if notice.endswith("nothing that is used needs it")]
    assert any("alias" in notice for notice in said)
    assert any("agent is missing" in notice for notice in said)
    assert found.account.counts.not_used >= 2


def test_an_invalid_resource_that_would_be_used_stops_it_with_its_path() -> None:
    broken = observation(own("cord_attached"), valueBoolean=True) | {"issued": "yesterday"}
    with pytest.raises(InputError, match=r"entry\[\d+\]\.resource\.issued") as caught:
        answer(visit_bundle(broken), load_pack())
    assert [problem.code for problem in caught.value.problems] == ["invalid-fhir"]


def test_what_is_alike_is_said_once_with_its_number() -> None:
    alike: list[dict[str, Any]] = [{"resourceType": "Organization", "alias": "x"} for _ in range(7)]
    found = answer(visit_bundle(observation(own("cord_attached"), valueBoolean=True), *alike), load_pack())
    [said] = [notice for notice in found.account.notices if "alias" in notice]
    assert "(and 6 more alike)" in said


def test_systems_that_nobody_can_compare_are_said_once_and_read_past() -> None:
    quantity = {"value": 3, "unit": "kg", "system": "UCUM", "code": "kg"}
    weights = [observation(own("weight"), valueQuantity=quantity, id=f"w{number}") for number in range(2)]
    found = check_input(bundle(patient(), encounter(), *weights))
    assert found.problems == ()
    (said,) = found.notices
    assert "write http://unitsofmeasure.org" in said
    assert said.endswith("(and 1 more alike)")


ABOUT_SOMEBODY: list[dict[str, Any]] = [
    {"text": {"status": "x", "div": "<div>a"}},
    {"meta": {"lastUpdated": "yesterday"}},
    {"telecom": [{"value": "555"}]},
    {"name": [{"text": " "}], "contact": [{"gender": "female"}]},
    {"communication": [{"preferred": True}], "maritalStatus": "x"},
    {"photo": [{"data": "**"}], "address": [{"period": "x"}]},
    {"link": [{"other": {"reference": "Patient/other"}, "type": "mother"}]},
    {"link": {"other": "x"}},
]
BROKEN_IDENTIFIERS: list[object] = [
    {"system": "https://clinic.example.org/id/mrn", "value": 7},
    {"system": "https://clinic.example.org/id/mrn", "value": " "},
    {"system": "of the clinic", "value": "9"},
    {"use": "mrn", "system": "https://clinic.example.org/id/other", "value": "9"},
    "9",
]


@pytest.mark.parametrize("wrong", ABOUT_SOMEBODY, ids=lambda wrong: next(iter(wrong)))
@pytest.mark.parametrize("name", ["Patient/mara", "urn:uuid:0b5ac4f1-7d65-4f05-8b1a-6c1f2f1c9a11"])
def test_what_is_wrong_about_somebody_stops_no_visit_and_does_not_go_along(wrong: dict[str, Any], name: str) -> None:
    """A Patient that is known by the Bundle alone goes along with the answer, which has to be valid."""
    identifier = [{"system": "https://clinic.example.org/id/mrn", "value": "1"}]
    given = bundle(
        patient(identifier=identifier, active=True) | wrong,
        encounter(),
        observation(own("cord_attached"), valueBoolean=True),
    )
    given = loads(dumps(given).replace("Patient/mara", name))
    if name.startswith("urn:"):
        given["entry"][0]["fullUrl"] = name
    found = answer(given, load_pack(), readers=("native",))
    said = [notice for notice in found.assessment.notices if notice.endswith("nothing that is used needs it")]
    assert all(any(f".resource.{element}" in notice for notice in said) for element in wrong)
    entries = [entry["resource"] for entry in found.to_fhir(load_pack())["entry"]]
    sent = [one for one in entries if one["resourceType"] == "Patient"]
    assert len(sent) == name.startswith("urn:")
    for one in sent:
        assert one.keys() >= {"identifier", "active", "gender", "birthDate"}
        assert not one.keys() & wrong.keys()


@pytest.mark.parametrize("broken", BROKEN_IDENTIFIERS, ids=str)
@pytest.mark.parametrize("beside", [True, False], ids=["beside a right one", "alone"])
@pytest.mark.parametrize("known_by", ["Patient/mara", "urn:uuid:0b5ac4f1-7d65-4f05-8b1a-6c1f2f1c9a11"])
def test_an_identifier_that_is_not_valid_stops_no_visit_and_does_not_go_along(
    broken: object, beside: bool, known_by: str
) -> None:
    right = {"system": "https://clinic.example.org/id/mrn", "value": "1"}
    baby = patient(identifier=[right, broken] if beside else [broken])
    given = bundle(baby, encounter(), observation(own("cord_attached"), valueBoolean=True))
    given = loads(dumps(given).replace("Patient/mara", known_by))
    given["entry"][0]["fullUrl"] = known_by if known_by.startswith("urn:") else f"https://ehr.example.org/{known_by}"
    found = answer(given, load_pack(), readers=("native",))
    told = [notice for notice in found.assessment.notices if ".identifier[" in notice]
    assert told
    entries = [entry["resource"] for entry in found.to_fhir(load_pack())["entry"]]
    sent = [one["identifier"] for one in entries if one["resourceType"] == "Patient"]
    assert sent == ([[right]] if beside and known_by.startswith("urn:") else [])
