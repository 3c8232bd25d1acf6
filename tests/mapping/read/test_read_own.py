"""What we wrote, and what people did with it, read back: proposals, what was taken back, judgments, what was told."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import AT, BASE, codes, concept, observation, own, quantity, read_visit, resource, whys

TARGETS, JUDGMENTS, TAGS = (f"{BASE}/CodeSystem/{name}" for name in ("targets", "judgments", "tags"))
TOPIC = f"{BASE}/StructureDefinition/payload-topic"
REASON = "http://hl7.org/fhir/StructureDefinition/request-statusReason"
KEYS = [{"system": f"{BASE}/identifier/{name}-key", "value": name} for name in ("request", "answer")]
START, END = "2026-11-22T09:00:00-06:00", "2026-11-23T09:00:00-06:00"

Flat = dict[str, Any]


def orders(*resources: Flat) -> list[Flat]:
    found: list[Flat] = read_visit(*resources).require().visit.get("history", {}).get("orders", [])
    return found


def request(**more: Any) -> Flat:
    given = {"status": "draft", "intent": "proposal", "priority": "asap", "authoredOn": START}
    return resource("ServiceRequest", **(given | {"code": concept(TARGETS, "ophthalmology")} | more))


def test_a_proposal_of_ours_comes_back_with_its_keys_and_its_window() -> None:
    [order] = orders(request(identifier=KEYS, occurrencePeriod={"start": START, "end": END}))
    assert order | {"reference": ""} == {
        "target": "ophthalmology", "status": "draft", "priority": "asap", "time": START, "start": START, "until": END,
        "request_key": "request", "answer_key": "answer", "reference": "",
    }  # fmt: skip


def test_an_order_of_others_has_the_end_that_it_names() -> None:
    assert orders(request(status="active", occurrenceDateTime=END))[0]["until"] == END
    assert "until" not in orders(request(status="active"))[0]
    assert codes(read_visit(request(occurrencePeriod={"end": "2026-11-23T09:00:00"}))) == ["time"]


def test_what_is_not_to_be_done_orders_nothing() -> None:
    result = read_visit(request(status="active", doNotPerform=True)).require()
    assert "history" not in result.visit
    assert "not to be done" in result.not_used[-1].why


SUPERSEDED = {"system": TAGS, "code": "superseded"}


@pytest.mark.parametrize(
    "mark",
    [
        {"meta": {"tag": [SUPERSEDED]}},
        {"extension": [{"url": REASON, "valueCodeableConcept": {"coding": [SUPERSEDED]}}]},
        {"identifier": [KEYS[0], {"system": f"{BASE}/identifier/answer-key-retired", "value": "answer"}]},
    ],
)
def test_what_we_took_back_is_neither_declined_nor_ordered_by_any_mark_that_a_server_kept(mark: Flat) -> None:
    result = read_visit(request(identifier=KEYS, status="revoked") | mark).require()
    assert "history" not in result.visit
    assert "nobody declined it" in result.not_used[-1].why


@pytest.mark.parametrize(
    "reason", [{"text": "The family goes elsewhere."}, {"coding": [{"system": TAGS, "code": "x"}]}, None]
)
def test_what_somebody_revoked_is_declined(reason: Flat | None) -> None:
    said = {"extension": [{"url": REASON, "valueCodeableConcept": reason}]} if reason else {}
    [order] = orders(request(identifier=KEYS, status="revoked") | said)
    assert order["status"] == "revoked"


def judge(**more: Any) -> Flat:
    link = [{"reference": "Observation/b1"}]
    return request(code=concept(JUDGMENTS, "judge"), identifier=KEYS, reasonReference=link, **more)


BILIRUBIN = observation(
    own("serum_bilirubin"),
    id="b1",
    effectiveDateTime="2026-11-24T09:30:00-06:00",
    valueQuantity=quantity("16", "mg/dL"),
)
NOTE = {"authorString": "nurse practitioner on duty", "time": AT, "text": "below the line of our chart"}
JUDGED = {
    "finding": "serum_bilirubin", "of": "2026-11-24T09:30:00-06:00", "by": NOTE["authorString"], "time": AT,
    "outcome": NOTE["text"],
}  # fmt: skip


def test_a_request_to_judge_that_was_done_settles_its_value() -> None:
    result = read_visit(BILIRUBIN, judge(status="completed", note=[NOTE])).require()
    assert result.visit["history"] == {"judged": [JUDGED]}


@pytest.mark.parametrize("status", ["draft", "active", "on-hold"])
def test_a_request_to_judge_that_was_not_done_settles_nothing(status: str) -> None:
    result = read_visit(BILIRUBIN, judge(status=status, note=[NOTE])).require()
    assert ("history" in result.visit, result.counts.not_used) == (False, 1)


def test_who_judged_and_what_they_found_must_be_said_and_the_value_be_there() -> None:
    for note in ({"text": "fine"}, {"authorString": "x", "text": ""}):
        assert "by whom" in whys(read_visit(BILIRUBIN, judge(status="completed", note=[note])))[0]
    assert "not in the input" in whys(read_visit(judge(status="completed", note=[NOTE])))[0]
    by_performer = judge(status="completed", performer=[{"display": "the doctor"}], note=[{"text": "fine"}])
    [judged] = read_visit(BILIRUBIN, by_performer).visit["history"]["judged"]
    assert (judged["by"], judged["outcome"]) == ("the doctor", "fine")


def test_an_observation_of_our_code_judges_the_value_in_its_focus() -> None:
    told = observation(
        concept(JUDGMENTS, "judgment"), id="j1", focus=[{"reference": "Observation/b1"}],
        performer=[{"display": NOTE["authorString"]}], valueString=NOTE["text"],
    )  # fmt: skip
    assert read_visit(BILIRUBIN, told).require().visit["history"] == {"judged": [JUDGED]}
    assert "history" not in read_visit(BILIRUBIN, told | {"status": "preliminary"}).require().visit


def test_the_side_of_what_was_judged_is_its_own() -> None:
    reflex = observation(own("red_reflex.left"), id="b1", valueCodeableConcept=own("red_reflex.absent"))
    [judged] = read_visit(reflex, judge(status="completed", note=[NOTE])).require().visit["history"]["judged"]
    assert (judged["finding"], judged["side"], judged["of"]) == ("red_reflex", "left", AT)


def payload(*topics: str) -> list[Flat]:
    return [
        {"extension": [{"url": TOPIC, **told}], "contentString": "…"}
        for number, name in enumerate(topics)
        for told in ({"valueCode": name} if number % 2 else {"valueCodeableConcept": concept(TARGETS, name)},)
    ]


def told(*resources: Flat) -> list[tuple[str, str]]:
    guidance = read_visit(*resources).require().visit.get("history", {}).get("guidance", [])
    return [(one["topic"], one["time"]) for one in guidance]


SENT = resource("Communication", status="completed", sent=START)
BOTH = [("safe_sleep", START), ("car_seat", START)]


def test_a_communication_that_tells_several_topics_is_read_whole() -> None:
    assert told(SENT | {"payload": payload("safe_sleep", "car_seat")}) == BOTH
    reasons = [concept(TARGETS, "safe_sleep"), concept("http://snomed.info/sct", "385870001")]
    assert told(SENT | {"reasonCode": reasons}) == BOTH
    assert told(SENT | {"topic": reasons[0], "payload": payload("safe_sleep", "car_seat")}) == BOTH
    assert "topic that the pack does not know" in whys(read_visit(SENT))[0]


def test_a_communication_that_carries_out_our_request_need_not_repeat_its_topics() -> None:
    asked = resource("CommunicationRequest", status="active", payload=payload("safe_sleep", "car_seat"))
    done = SENT | {"basedOn": [{"reference": "CommunicationRequest/communicationrequest"}]}
    assert told(asked, done) == BOTH
    assert told(asked, done | {"payload": payload("car_seat")}) == BOTH[1:]


@pytest.mark.parametrize(("status", "given"), [("completed", BOTH[:1]), ("active", []), ("draft", [])])
def test_our_request_to_tell_the_family_is_guidance_given_once_it_is_done(status: str, given: list[Any]) -> None:
    asked = resource("CommunicationRequest", status=status, authoredOn=START, payload=payload("safe_sleep"))
    assert told(asked) == given


def test_a_talk_that_somebody_declined_is_owed_as_before_and_said() -> None:
    asked = resource("CommunicationRequest", status="revoked", authoredOn=START, payload=payload("safe_sleep"))
    assert told(asked) == []
    assert "(safe_sleep) was declined" in read_visit(asked).require().notices[0]
    retired = asked | {"statusReason": {"coding": [{"system": TAGS, "code": "superseded"}]}}
    assert read_visit(retired).require().notices == ()


def test_nothing_else_that_we_write_is_evidence() -> None:
    computed = observation(own("serum_bilirubin"), id="c1", meta={"tag": [{"system": TAGS, "code": "computed"}]})
    written = [resource(kind) for kind in ("CarePlan", "GuidanceResponse", "Task", "Provenance", "Device")]
    result = read_visit(computed, *written).require()
    assert (result.visit["findings"], result.visit.get("history"), result.counts.not_used) == ({}, None, 6)
