"""Only what is wrong where it is used stops a record; the rest of what is broken is named and counted."""

from __future__ import annotations

from typing import Any

import pytest
from support.foreign import foreign
from support.read_samples import bundle, encounter, observation, own, patient, visit_bundle

from layette.engine import InputError, load_pack
from layette.mapping.answering import answer
from layette.mapping.door import check_input

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
