"""What a clinic did with our proposals comes back as history: not proposed again, not missed, by the same keys.

The server gives every resource an id of its own and writes the references anew.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from support.held_drafts import held
from support.shipped_examples import source

from layette.engine import Assessment, Pack, load_pack
from layette.mapping.answering import Answer, answer
from layette.mapping.write.retire import STATUS_REASON

ASKED = ("refer", "order", "recheck")
NAME = "red-reflex-hip-testis-day-6"
DECLINED = {"extension": [{"url": STATUS_REASON, "valueCodeableConcept": {"text": "The family declined"}}]}
DONE = {
    "accepted": {"status": "active", "intent": "order"},
    "declined": {"status": "revoked", **DECLINED},
    "declined without a reason": {"status": "revoked"},
    "changed": {
        "status": "active",
        "intent": "order",
        "note": [{"text": "The week after suits them better"}],
        "occurrencePeriod": {"start": "2026-06-01T08:00:00-05:00", "end": "2026-06-09T08:00:00-05:00"},
    },
}


@cache
def pack() -> Pack:
    return load_pack()


@cache
def first() -> Answer:
    return answer(source(NAME), pack(), readers=("native",))


def keys(found: Assessment, *parts: str) -> set[str]:
    return {one.request_key for part in parts for one in getattr(found, part) if one.kind in ASKED}


def again(changes: dict[str, Any], kind: str = "ServiceRequest", at: str | None = None) -> Answer:
    """Return the answer where somebody changed all proposals of one kind that the server holds."""
    back = held(first().to_fhir(pack()))
    for entry in back["entry"]:
        if entry["resource"]["resourceType"] == kind:
            entry["resource"].update(changes)
    return answer([source(NAME), back], pack(), readers=("native",), at=at)


@pytest.mark.parametrize("did", sorted(DONE))
def test_what_was_done_with_a_proposal_is_history(did: str) -> None:
    mine = keys(first().assessment, "recommendations")
    assert len(mine) > 5
    found = again(DONE[did]).assessment
    assert not mine & keys(found, "recommendations", "to_chase")
    assert mine <= keys(found, "standing")


@pytest.mark.parametrize("did", ["declined", "declined without a reason"])
def test_what_was_declined_is_neither_proposed_nor_missed_weeks_later(did: str) -> None:
    found = again(DONE[did], at="2026-06-20T10:00:00-05:00").assessment
    calm = {one.request_key for one in first().assessment.recommendations if one.priority in ("routine", "urgent")}
    pressing = {one.request_key for one in found.recommendations if one.priority in ("stat", "asap")}
    assert not calm & (keys(found, "recommendations", "to_chase") - pressing)


@pytest.mark.parametrize("did", sorted(DONE))
def test_what_goes_out_then_asks_for_none_of_it_anew(did: str) -> None:
    made = again(DONE[did]).to_fhir(pack())
    drafts = [one["resource"] for one in made["entry"] if one["resource"]["resourceType"] == "ServiceRequest"]
    said = {one["value"] for draft in drafts for one in draft["identifier"] if one["system"].endswith("/request-key")}
    assert not said & keys(first().assessment, "recommendations")


def test_ids_that_a_server_wrote_anew_lose_no_key() -> None:
    found = again({})
    orders = found.visit["history"]["orders"]
    mine = keys(first().assessment, "recommendations")
    assert mine <= {one["request_key"] for one in orders}
    assert keys(found.assessment, "recommendations") == mine
    answered = {one.answer_key for one in first().assessment.recommendations if one.kind in ASKED}
    assert {one.answer_key for one in found.assessment.recommendations if one.kind in ASKED} == answered


def test_a_talk_that_was_held_is_not_owed_again() -> None:
    told = {one.target for one in first().assessment.guidance}
    found = again({"status": "completed"}, "CommunicationRequest").assessment
    assert told
    assert not told & {one.target for one in found.guidance}
