"""Superseded drafts of ours are taken back: only untouched ones, on their version, and never as if declined."""

from __future__ import annotations

from typing import Any

import pytest
from support.assessment_samples import SamplePack, assessment, flat_visit, recommendation, topic
from support.held_drafts import KINDS, held

from layette.mapping.fhir.json import dumps
from layette.mapping.validate import validate
from layette.mapping.write import BASE, retirement, to_bundle

Flat = dict[str, Any]
URGENT = recommendation(priority="urgent", certain="urgent", possible="urgent", answer_key="k.uuuu")
STAT = recommendation(answer_key="k.ssss")


def answer(one: Any, source: Any = None, **changes: Any) -> Flat:
    made = assessment(recommendations=(one,), avoid=(), **changes)
    return to_bundle(made, SamplePack(), visit=flat_visit(), source=source)


def taken_back(source: Flat, later: Flat) -> dict[str, Flat]:
    batch = retirement(later, source)
    assert batch["type"] == "batch"
    assert [str(issue) for issue in validate(batch)] == []
    return {entry["resource"]["resourceType"]: entry for entry in batch.get("entry", ())}


def test_what_a_later_answer_replaces_is_revoked_as_superseded_on_its_version() -> None:
    source = held(answer(URGENT))
    retired = taken_back(source, answer(STAT, source, guidance=(topic("car_seat", "Car seat"),)))
    assert set(retired) == KINDS
    for entry in retired.values():
        resource = entry["resource"]
        name = f"{resource['resourceType']}/{resource['id']}"
        assert entry["request"] == {"method": "PUT", "url": name, "ifMatch": 'W/"3"'}
        assert resource["status"] == "revoked"
        assert "superseded" in [tag["code"] for tag in resource["meta"]["tag"]]
        systems = [one["system"].removeprefix(f"{BASE}/identifier/") for one in resource["identifier"]]
        assert systems[:2] == ["request-key", "answer-key-retired"]
    [extension] = retired["ServiceRequest"]["resource"]["extension"]
    for reason in (extension["valueCodeableConcept"], retired["CommunicationRequest"]["resource"]["statusReason"]):
        coded = reason["coding"][0]
        assert (coded["system"], coded["code"]) == (f"{BASE}/CodeSystem/tags", "superseded")


def test_what_is_taken_back_is_a_copy_and_the_input_stays() -> None:
    source = held(answer(URGENT))
    before = dumps(source)
    assert taken_back(source, answer(STAT, source))
    assert dumps(source) == before


def test_the_same_answer_takes_nothing_back() -> None:
    source = held(answer(URGENT))
    assert retirement(answer(URGENT, source), source) == {"resourceType": "Bundle", "type": "batch"}


def test_what_is_no_longer_asked_for_is_left_alone() -> None:
    """That less was found today is no reason to take back an emergency."""
    source = held(answer(STAT))
    other = recommendation(target="x", request_key="other", answer_key="other.a")
    assert "ServiceRequest" not in taken_back(source, answer(other, source))


@pytest.mark.parametrize(
    "touched",
    [
        {"priority": "asap"},
        {"occurrencePeriod": {"end": "2026-11-30T10:00:00-06:00"}},
        {"note": [{"authorString": "A. Nurse", "text": "Not before Monday."}]},
        {"performer": [{"display": "Eye clinic"}]},
        {"status": "active"},
        {"meta": {"versionId": "4"}},
        {"id": ""},
    ],
)
def test_a_draft_that_somebody_touched_or_that_has_no_version_stays(touched: Flat) -> None:
    source = held(answer(URGENT), **touched)
    assert "ServiceRequest" not in taken_back(source, answer(STAT, source))
