"""What was written is read back from a real server as the same history, and gives the same assessment."""

from __future__ import annotations

from typing import Any

import pytest
from integration import visits
from integration.fhir_server import Server, everything, hold
from support.shipped_examples import NAMES

from layette.mapping.fhir.json import dumps

pytestmark = [pytest.mark.interop, pytest.mark.slow, pytest.mark.xdist_group("fhir-server")]

DIFFERS = {"patient", "encounter", "choices", "warnings", "notices"}
"""What may differ when our own Observations are read back: references; what of the first input was not understood and
so never written; and a dose that is now told twice, by the record's Immunization and by our Observation."""


@pytest.mark.parametrize("name", NAMES)
def test_what_was_written_gives_the_same_assessment_when_it_is_read_back(name: str, empty_server: Server) -> None:
    """Two examples are visits of the same baby, and a longer history is another assessment: a server for each."""
    visit = visits.as_flat(name)
    hold(empty_server, visits.owned(name))
    before = visits.assessed(visit)
    assert empty_server.post(dumps(visits.answer(None, visit))).status == 200
    back = everything(empty_server, str(visit["patient"]).split("/")[-1])
    after = visits.assessed(visits.taken(visits.bundle([*_without_drafts(back), *_lists(name)])).visit)
    first, second = (without_origin(one.model_dump(mode="json")) for one in (before, after))
    assert {part for part in first if first[part] != second[part]} <= DIFFERS


def _without_drafts(resources: list[visits.Resource]) -> list[visits.Resource]:
    """Leave out the proposals of this very run: they would stand as drafts beside the same answers."""
    return [one for one in resources if one.get("status") != "draft"]


def _lists(name: str) -> list[visits.Resource]:
    """The search of this server is by `patient`, which a List has not in every version: taken from the input."""
    return [one for one in visits.owned(name) if one["resourceType"] == "List"]


def without_origin(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: without_origin(inner) for key, inner in value.items() if key != "origin"}
    return [without_origin(inner) for inner in value] if isinstance(value, list) else value
