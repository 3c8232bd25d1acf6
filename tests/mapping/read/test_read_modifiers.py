"""What changes a meaning in a way that we do not know is kept and said, at any depth, and never used (FHIR R4)."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import (
    AT,
    SNOMED,
    bundle,
    codes,
    encounter,
    observation,
    own,
    pack,
    patient,
    read_visit,
    whys,
)

from layette.mapping.read import read
from layette.mapping.read.bundle.modifiers import UNREAD

EACH_KIND = [
    patient(),
    encounter(),
    observation(own("feeding_well"), valueBoolean=True),
    observation(own("apgar_5"), id="parts", component=[{"code": own("apgar_5"), "valueInteger": 9}]),
    {
        "resourceType": "Condition", "id": "c", "subject": {"reference": "Patient/mara"}, "recordedDate": AT,
        "code": {"coding": [{"system": SNOMED, "code": "88610006"}]},
    },
    {
        "resourceType": "DiagnosticReport", "id": "d", "status": "final", "subject": {"reference": "Patient/mara"},
        "code": {"text": "screens"}, "effectiveDateTime": AT,
    },
    {
        "resourceType": "Immunization", "id": "i", "status": "completed", "patient": {"reference": "Patient/mara"},
        "occurrenceDateTime": AT, "vaccineCode": {"coding": [{"system": "http://hl7.org/fhir/sid/cvx", "code": "08"}]},
    },
    {
        "resourceType": "Procedure", "id": "p", "status": "completed", "subject": {"reference": "Patient/mara"},
        "performedDateTime": AT, "code": {"coding": [{"system": SNOMED, "code": "385870001"}]},
    },
]  # fmt: skip
READ_TYPES = sorted({one["resourceType"] for one in EACH_KIND})
UNKNOWN = [{"url": "http://hospital.example/not-really", "valueBoolean": True}]


@pytest.mark.parametrize(
    "change",
    [
        {"modifierExtension": UNKNOWN},
        {"implicitRules": "http://hospital.example/rules"},
        {"code": {**own("feeding_well"), "extension": [{"url": "http://x.example", "modifierExtension": UNKNOWN}]}},
        {"component": [{"code": own("feeding_well"), "modifierExtension": UNKNOWN}]},
        {"contained": [{"resourceType": "Device", "implicitRules": "http://hospital.example/rules"}]},
    ],
)
def test_a_resource_with_an_unknown_modifier_is_kept_and_not_used(change: dict[str, Any]) -> None:
    plain = observation(own("feeding_well"), valueBoolean=True)
    assert "feeding_well" in read_visit(plain).visit["findings"]
    result = read_visit(plain | change)
    assert result.visit["findings"] == {}
    assert result.problems == ()
    assert result.counts.not_understood == 1
    assert "may change what it means" in whys(result)[0]


@pytest.mark.parametrize("empty", [{"modifierExtension": []}, {"implicitRules": ""}])
def test_an_empty_modifier_changes_nothing(empty: dict[str, Any]) -> None:
    result = read_visit(observation(own("feeding_well"), valueBoolean=True) | empty)
    assert "feeding_well" in result.visit["findings"]


def test_a_newborn_whose_patient_has_one_is_refused_with_its_place() -> None:
    modified = patient() | {"name": [{"family": "Oak", "extension": [{"url": "urn:x", "modifierExtension": UNKNOWN}]}]}
    result = read(bundle(modified, encounter()), pack())
    assert "patient" in codes(result)
    assert any(p.path == "Bundle.entry[0].resource.name[0].extension[0].modifierExtension" for p in result.problems)


NEVER_READ = [(kind, element) for kind, elements in UNREAD.items() for element in sorted(elements)]


def _with(resource: dict[str, Any], element: str, content: dict[str, Any]) -> dict[str, Any]:
    outer, _, inner = element.partition(".")
    if inner:
        return resource | {outer: [one | {inner: [content]} for one in resource.get(outer, [{}])]}
    return resource | {outer: [content]}


@pytest.mark.parametrize(("kind", "element"), NEVER_READ)
def test_a_modifier_within_an_element_that_is_never_read_sets_aside_that_element_alone(kind: str, element: str) -> None:
    plain = next(one for one in EACH_KIND if one["resourceType"] == kind)
    modified = _with(plain, element, {"modifierExtension": UNKNOWN})
    with_it = read(bundle(*[modified if one is plain else one for one in EACH_KIND]), pack())
    assert with_it.problems == ()
    assert any(element.rpartition(".")[2] in said and "this element is not used" in said for said in with_it.notices)
    assert with_it.visit == read(bundle(*EACH_KIND), pack()).visit


@pytest.mark.parametrize(("kind", "element"), NEVER_READ)
def test_what_is_called_never_read_is_so(kind: str, element: str) -> None:
    noise = {"code": own("red_reflex.white"), "status": "cancelled", "reference": "Patient/other", "text": "mother"}
    noise |= {"valueBoolean": False, "period": {"start": "1999-01-01"}, "extension": [{"url": "x", "valueCode": "M"}]}
    noisy = [_with(one, element, noise) if one["resourceType"] == kind else one for one in EACH_KIND]
    assert read(bundle(*noisy), pack()).visit == read(bundle(*EACH_KIND), pack()).visit


@pytest.mark.parametrize("kind", READ_TYPES)
def test_a_modifier_on_any_other_element_sets_aside_the_resource(kind: str) -> None:
    plain = next(one for one in EACH_KIND if one["resourceType"] == kind)
    for element in plain:
        if isinstance(plain[element], dict):
            modified = plain | {element: plain[element] | {"modifierExtension": UNKNOWN}}
            result = read(bundle(*[modified if one is plain else one for one in EACH_KIND]), pack())
            place = f"Bundle.entry[{EACH_KIND.index(plain)}].resource.{element}.modifierExtension"
            assert place in {one["path"] for one in result.visit["not_understood"]} | {p.path for p in result.problems}


def test_a_father_with_one_is_kept_and_leaves_the_newborn_not_alone() -> None:
    father = {"resourceType": "RelatedPerson", "id": "dad", "patient": {"reference": "Patient/mara"}}
    unsaid = observation(own("feeding_well"), valueBoolean=True)
    del unsaid["subject"]
    result = read(bundle(patient(), encounter(), father | {"modifierExtension": UNKNOWN}, unsaid), pack())
    assert result.problems == ()
    assert result.visit["not_understood"][0]["path"] == "Bundle.entry[2].resource.modifierExtension"
    assert result.visit["findings"] == {}


def test_a_mother_with_one_is_refused_since_what_is_hers_would_be_lost() -> None:
    mother = {"resourceType": "RelatedPerson", "id": "mum", "patient": {"reference": "Patient/mara"}}
    mother |= {"relationship": [{"text": "mother"}], "modifierExtension": UNKNOWN}
    result = read(bundle(patient(), encounter(), mother), pack())
    assert [p.path for p in result.problems] == ["Bundle.entry[2].resource.modifierExtension"]


def test_an_encounter_with_one_gives_no_time() -> None:
    timed = observation(own("feeding_well"), valueBoolean=True, encounter=None)
    result = read(bundle(patient(), encounter() | {"modifierExtension": UNKNOWN}, timed), pack())
    assert result.visit["at"] == timed["effectiveDateTime"]
    assert "encounter" not in result.visit


def test_a_bundle_with_implicit_rules_is_refused() -> None:
    result = read(bundle(patient(), encounter()) | {"implicitRules": "http://hospital.example/rules"}, pack())
    assert [problem.path for problem in result.problems] == ["Bundle.implicitRules"]
