"""What changes a meaning in a way that we do not know is kept and said, at any depth, and never used (FHIR R4)."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import bundle, codes, encounter, observation, own, pack, patient, read_visit, whys

from layette.mapping.read import read

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
    modified = patient() | {"contact": [{"modifierExtension": UNKNOWN}]}
    result = read(bundle(modified, encounter()), pack())
    assert "patient" in codes(result)
    assert any(p.path == "Bundle.entry[0].resource.contact[0].modifierExtension" for p in result.problems)


def test_an_encounter_with_one_gives_no_time() -> None:
    timed = observation(own("feeding_well"), valueBoolean=True, encounter=None)
    result = read(bundle(patient(), encounter() | {"modifierExtension": UNKNOWN}, timed), pack())
    assert result.visit["at"] == timed["effectiveDateTime"]
    assert "encounter" not in result.visit


def test_a_bundle_with_implicit_rules_is_refused() -> None:
    result = read(bundle(patient(), encounter()) | {"implicitRules": "http://hospital.example/rules"}, pack())
    assert [problem.path for problem in result.problems] == ["Bundle.implicitRules"]
