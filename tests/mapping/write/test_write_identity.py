"""Request key, answer key, what is replaced, and what a clinician's order keeps."""

from __future__ import annotations

import json
from decimal import Decimal
from random import Random
from types import MappingProxyType
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from hypothesis import given
from hypothesis import strategies as st
from support.assessment_samples import SamplePack, assessment, flat_visit, recommendation
from support.random_json import random_json, random_number, random_text
from support.seeds import seeds, several

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Placed, Recommendation, Window
from layette.mapping.write import BASE, to_bundle
from layette.mapping.write.run import keys

ALIVE = "&status=draft,active,on-hold,completed"
KEY = "mara.refer.ophthalmology.left.once"


def proposals(made: Assessment, **arguments: Any) -> list[dict[str, Any]]:
    bundle = to_bundle(made, SamplePack(), **({"visit": flat_visit()} | arguments))
    return [entry for entry in bundle["entry"] if entry["resource"]["resourceType"] == "ServiceRequest"]


def only(one: Recommendation) -> Assessment:
    return assessment(recommendations=(one,), avoid=())


def identifiers(entry: dict[str, Any]) -> dict[str, str]:
    return {i["system"].removeprefix(f"{BASE}/identifier/"): i["value"] for i in entry["resource"]["identifier"]}


URGENT = recommendation(priority="urgent", certain="urgent", possible="urgent", answer_key=f"{KEY}.uuuu")
STAT = recommendation(answer_key=f"{KEY}.ssss")


def as_history(entry: dict[str, Any], **changes: Any) -> dict[str, Any]:
    resource = entry["resource"] | {"id": "9"} | changes
    return {"resourceType": "Bundle", "type": "searchset", "entry": [{"resource": resource}]}


def test_a_later_stat_answer_has_the_same_request_key_another_answer_key_and_replaces_the_earlier() -> None:
    [earlier] = proposals(only(URGENT))
    [later] = proposals(only(STAT), source=as_history(earlier))
    assert identifiers(earlier)["request-key"] == identifiers(later)["request-key"] == KEY
    assert earlier["request"]["ifNoneExist"] != later["request"]["ifNoneExist"]
    assert later["fullUrl"] != earlier["fullUrl"]
    assert later["resource"]["replaces"] == [{"reference": "ServiceRequest/9"}]
    assert later["resource"]["priority"] == "stat"


def test_posting_twice_asks_for_the_same_thing() -> None:
    [first], [second] = proposals(only(STAT)), proposals(only(STAT))
    assert first == second
    assert first["request"]["ifNoneExist"] == f"identifier={BASE}/identifier/answer-key|{KEY}.ssss{ALIVE}"


def test_the_same_answer_replaces_nothing() -> None:
    [earlier] = proposals(only(STAT))
    [again] = proposals(only(STAT), source=as_history(earlier))
    assert "replaces" not in again["resource"]
    assert again["request"] == earlier["request"]


def test_a_request_that_a_clinician_signed_is_not_ours_to_replace() -> None:
    [earlier] = proposals(only(URGENT))
    [later] = proposals(only(STAT), source=as_history(earlier, status="active"))
    assert "replaces" not in later["resource"]


def test_another_babys_or_another_targets_draft_is_not_replaced() -> None:
    [earlier] = proposals(only(URGENT.model_copy(update={"request_key": "other"})))
    [later] = proposals(only(STAT), source=as_history(earlier))
    assert "replaces" not in later["resource"]


def test_a_draft_named_by_the_engine_or_by_the_flat_history_is_replaced() -> None:
    placed = Placed(reference="ServiceRequest/4", status="draft", priority="urgent")
    [by_engine] = proposals(only(STAT.model_copy(update={"placed": placed})))
    assert by_engine["resource"]["replaces"] == [{"reference": "ServiceRequest/4"}]
    order = {"target": "ophthalmology", "status": "draft", "reference": "ServiceRequest/5", "request_key": KEY}
    [by_history] = proposals(only(STAT), visit=flat_visit(history={"orders": [order]}))
    assert by_history["resource"]["replaces"] == [{"reference": "ServiceRequest/5"}]


def test_what_the_engine_proposes_beside_an_active_order_is_written_and_leaves_it_untouched() -> None:
    """The engine has weighed that order (danger law 14): held back here, a fever of today would be silent."""
    placed = Placed(reference="ServiceRequest/4", status="active", priority="stat")
    [made] = proposals(only(STAT.model_copy(update={"placed": placed})))
    assert "replaces" not in made["resource"]
    assert any("left untouched" in note["text"] for note in made["resource"]["note"])


def test_an_overdue_emergency_is_chased_by_a_request_that_replaces_it() -> None:
    due = "2026-11-23T10:00:00-06:00"
    placed = Placed(reference="ServiceRequest/4", status="active", priority="stat", time=due, until=due, overdue=True)
    window = Window(until=due, text="overdue", overdue=True)
    chased = STAT.model_copy(update={"placed": placed, "window": window})
    [made] = proposals(assessment(recommendations=(), avoid=(), to_chase=(chased,)))
    assert made["resource"]["replaces"] == [{"reference": "ServiceRequest/4"}]
    assert made["resource"]["occurrencePeriod"] == {"end": due}
    assert any("chase it" in note["text"] for note in made["resource"]["note"])


def test_a_more_urgent_answer_is_proposed_beside_an_active_order_and_says_so() -> None:
    for priority in ("urgent", None):
        placed = Placed(reference="ServiceRequest/4", status="active", priority=priority)
        [made] = proposals(only(STAT.model_copy(update={"placed": placed})))
        assert "replaces" not in made["resource"]
        assert any("left untouched" in note["text"] for note in made["resource"]["note"])


def test_an_order_on_hold_or_revoked_does_not_swallow_a_proposal() -> None:
    for status in ("on-hold", "revoked"):
        placed = Placed(reference="ServiceRequest/4", status=status, priority="stat")
        assert len(proposals(only(STAT.model_copy(update={"placed": placed})))) == 1


def test_keys_are_escaped_in_the_search() -> None:
    odd = STAT.model_copy(update={"answer_key": "Zoë|a,b &c"})
    [made] = proposals(only(odd))
    assert made["request"]["ifNoneExist"].endswith(f"|Zo%C3%AB%5C%7Ca%5C%2Cb%20%26c{ALIVE}")


def test_what_the_engine_holds_back_is_said_in_the_run() -> None:
    """An order that stands answers a recommendation in the engine already; the FHIR answer must still say so."""
    order = Placed(status="revoked", priority="urgent", reference="ServiceRequest/9")
    made = assessment(recommendations=(), avoid=(), standing=(recommendation(placed=order),))
    bundle = to_bundle(made, SamplePack(), visit=flat_visit())
    notes = [
        note["text"]
        for entry in bundle["entry"]
        if entry["resource"]["resourceType"] == "GuidanceResponse"
        for note in entry["resource"].get("note", ())
    ]
    assert any("Not proposed again" in t and "ServiceRequest/9 is revoked with priority urgent" in t for t in notes)
    assert not proposals(made)


@given(st.text(st.characters(exclude_categories=["Cs"])), st.sampled_from(["Task", "Observation"]))
def test_the_name_of_a_resource_is_the_uuid_of_its_key(key: str, kind: str) -> None:
    assert keys.urn(BASE, kind, key) == uuid5(NAMESPACE_URL, f"{BASE}/{kind}#{key}").urn


def leaf(rng: Random) -> Any:
    return rng.choice([None, True, random_text(rng), random_number(rng), Decimal("3.250"), (1, "a"), "\ud800", [{}]])


def as_json(value: Any) -> Any:
    return str(value) if isinstance(value, Decimal) else dict(value)


@given(seeds)
def test_canonical_json_is_that_of_the_standard_library(seed: int) -> None:
    """So a key is the same wherever it is made, whichever encoder could write the value."""
    for rng in several(seed):
        value = MappingProxyType({"a": random_json(rng, leaf), "B": 1})
        shape = {"sort_keys": True, "ensure_ascii": False, "separators": (",", ":")}
        assert keys.written(value) == json.dumps(
            value, default=lambda v: str(v) if type(v) is Decimal else dict(v), **shape
        )
