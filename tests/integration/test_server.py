"""Posted to a real server: once is once, a changed answer replaces, what a clinician signed stays, all comes back."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from integration import visits
from integration.fhir_server import Server, everything, hold
from integration.visits import Resource
from support.shipped_examples import NAMES

from layette.mapping.fhir.json import dumps
from layette.mapping.write import BASE

pytestmark = [pytest.mark.interop, pytest.mark.slow, pytest.mark.xdist_group("fhir-server")]

REQUEST_KEY, ANSWER_KEY = (f"{BASE}/identifier/{name}" for name in ("request-key", "answer-key"))
WRITTEN = (
    "Observation", "ServiceRequest", "CommunicationRequest", "Condition", "DocumentReference",
    "ImmunizationRecommendation", "GuidanceResponse", "CarePlan", "Provenance", "Device",
)  # fmt: skip


def statuses(answered: Any) -> Counter[str]:
    assert answered.status == 200, answered.body
    return Counter(entry["response"]["status"][:3] for entry in answered.body["entry"])


def count(server: Server) -> dict[str, int]:
    return {kind: len(server.all(kind)) for kind in WRITTEN}


def keys_of(resources: list[Resource], system: str) -> Counter[str]:
    named = [one["value"] for r in resources for one in r.get("identifier", ()) if one["system"] == system]
    return Counter(named)


@pytest.mark.parametrize("name", NAMES)
def test_an_example_posted_twice_is_there_once(name: str, server: Server) -> None:
    transaction, before = visits.posted(name), count(server)
    first = statuses(server.post(dumps(transaction)))
    held = count(server)
    # The software's Device, and answers that have not changed since an earlier visit, are there already.
    assert sum(held.values()) - sum(before.values()) == first["201"] >= 5
    assert statuses(server.post(dumps(transaction))) == {"200": len(transaction["entry"])}
    assert count(server) == held
    for kind in ("ServiceRequest", "CommunicationRequest"):
        assert set(keys_of(server.all(kind), ANSWER_KEY).values()) == {1}


@pytest.fixture(scope="module", name="seen_twice")
def _seen_twice(server: Server) -> Server:
    """Two babies seen twice: first a mark that is routine, then many hemangiomas, which are urgent."""
    for number in (1, 2):
        first = [visits.baby(number), *visits.seen(number, "06", other_birthmark="present", birthmark_place="midline")]
        hold(server, first)
        given = visits.bundle(first)
        assert server.post(dumps(visits.answer(given, visits.taken(given).visit))).status == 200
    return server


def referral(server: Server, number: int) -> list[Resource]:
    """Return the referrals to dermatology of a baby, the oldest first."""
    target = f"{BASE}/CodeSystem/targets|dermatology"
    found = server.all("ServiceRequest", patient=f"Patient/fern-{number}", code=target)
    return sorted(found, key=lambda one: one["authoredOn"])


def second_visit(server: Server, number: int) -> Resource:
    """Return the transaction of the second visit, with what the server holds as its history."""
    again = visits.seen(number, "13", hemangioma="present", hemangioma_count="6")
    hold(server, again)
    given = visits.bundle(everything(server, f"fern-{number}"))
    return visits.answer(given, visits.taken(given).visit)


def test_a_more_urgent_answer_arrives_and_replaces_the_earlier_draft(seen_twice: Server) -> None:
    [earlier] = referral(seen_twice, 1)
    assert (earlier["priority"], earlier["status"]) == ("routine", "draft")
    transaction = second_visit(seen_twice, 1)
    for _ in range(2):
        assert seen_twice.post(dumps(transaction)).status == 200
    kept, later = referral(seen_twice, 1)
    assert later["priority"] == "urgent"
    assert [link["reference"].split("/")[-1] for link in later["replaces"]] == [earlier["id"]]
    assert kept == earlier
    assert keys_of([kept, later], REQUEST_KEY).most_common() == [(key_of(earlier), 2)]


def key_of(request: Resource) -> str:
    [key] = keys_of([request], REQUEST_KEY)
    return key


def test_an_order_that_a_clinician_signed_stays_as_it_is(seen_twice: Server) -> None:
    [draft] = referral(seen_twice, 2)
    signed = draft | {"status": "active", "intent": "order", "requester": {"display": "the clinician"}}
    assert seen_twice.put(signed).status == 200
    order = seen_twice.get(f"ServiceRequest/{draft['id']}").body
    assert seen_twice.post(dumps(second_visit(seen_twice, 2))).status == 200
    kept, later = referral(seen_twice, 2)
    assert kept == order
    assert (later["status"], later["priority"], "replaces" in later) == ("draft", "urgent", False)
    assert any("left untouched" in note["text"] for note in later["note"])


def test_requests_are_found_by_identifier_patient_code_and_status(seen_twice: Server) -> None:
    [first, *_] = referral(seen_twice, 1)
    for search in (
        {"identifier": f"{REQUEST_KEY}|{key_of(first)}"},
        {"patient": "Patient/fern-1", "status": "draft"},
        {"subject": "Patient/fern-1", "code": f"{BASE}/CodeSystem/targets|dermatology"},
        {"priority": "routine", "intent": "proposal", "patient": "Patient/fern-1"},
    ):
        assert first["id"] in {one["id"] for one in seen_twice.all("ServiceRequest", **search)}, search
    assert first["id"] not in {one["id"] for one in seen_twice.all("ServiceRequest", status="active")}
