"""What is told, planned and still wanted: guidance, the plan of a visit, what is to be judged, the run."""

from __future__ import annotations

from typing import Any

import pytest
from support.assessment_samples import (
    SamplePack,
    assessment,
    flat_visit,
    question,
    recommendation,
    topic,
)

from layette.engine.answer.shapes.detail import Step
from layette.engine.answer.shapes.proposed import Placed, ToJudge, Used, Window
from layette.mapping.fhir.json import dumps
from layette.mapping.write import BASE, to_bundle
from layette.mapping.write.run.context import Parts

BUNDLE = to_bundle(assessment(), SamplePack(), visit=flat_visit())
WHOLE = to_bundle(assessment(), SamplePack(), visit=flat_visit(), parts="all")


def resources(kind: str, bundle: dict[str, Any] = BUNDLE) -> list[dict[str, Any]]:
    return [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind]


def url(resource: dict[str, Any], bundle: dict[str, Any] = BUNDLE) -> str:
    return next(e["fullUrl"] for e in bundle["entry"] if e["resource"] is resource)


def observations(text: str, bundle: dict[str, Any] = BUNDLE) -> list[dict[str, Any]]:
    return [one for one in resources("Observation", bundle) if one["code"]["text"] == text]


TOLD = [f"{name}, in words for the family." for name in ("Safe sleep", "Car seat", "White spots on the nose")]


def test_guidance_and_reassurance_are_one_request_to_the_family_with_a_payload_a_topic() -> None:
    [request] = resources("CommunicationRequest")
    assert [payload["contentString"] for payload in request["payload"]] == TOLD
    assert [payload["id"] for payload in request["payload"]] == ["safe-sleep", "car-seat", "milia"]
    topics = [payload["extension"][0] for payload in request["payload"]]
    assert [(one["url"], one["valueCode"]) for one in topics] == [
        (f"{BASE}/StructureDefinition/payload-topic", name) for name in ("safe_sleep", "car_seat", "milia")
    ]
    assert "milia: sleep.milia" in request["note"][0]["text"]


def test_where_all_is_asked_for_each_topic_has_a_request_of_its_own_that_is_part_of_the_one() -> None:
    together, *alone = resources("CommunicationRequest", WHOLE)
    assert [request["payload"][0]["contentString"] for request in alone] == TOLD
    assert [request["basedOn"] for request in alone] == [[{"reference": url(together, WHOLE)}]] * 3


def test_what_is_told_to_the_mother_is_apart_and_restricted() -> None:
    hers = topic("parent_mood", "How you feel", subject="mother")
    made = to_bundle(assessment(guidance=(topic("car_seat", "Car seat"), hers)), SamplePack(), visit=flat_visit())
    family, mother = resources("CommunicationRequest", made)
    assert [[p["id"] for p in request["payload"]] for request in (family, mother)] == [
        ["car-seat", "milia"], ["parent-mood"],
    ]  # fmt: skip
    assert "security" not in family["meta"]
    assert mother["meta"]["security"][0]["code"] == "R"
    assert "How you feel" not in dumps(family)
    assert [key["value"] for key in family["identifier"]] != [key["value"] for key in mother["identifier"]]


def test_words_for_the_family_go_out_in_the_language_asked_for_and_say_which_it_is() -> None:
    spanish = topic("car_seat", "Car seat", plain={"en": "Facing back.", "es": "Mirando atrás. [needed: review]"})
    asked = assessment(guidance=(spanish,), reassurance=())
    for language, words in (("en", "Facing back."), ("es", "Mirando atrás. [needed: review]"), ("fr", "Facing back.")):
        made = to_bundle(asked, SamplePack(), visit=flat_visit(), language=language)
        [request] = resources("CommunicationRequest", made)
        assert [payload["contentString"] for payload in request["payload"]] == [words]
        assert request.get("language") == (language if language != "fr" else None)


def test_one_plan_holds_all_that_is_proposed_in_the_order_of_the_answer() -> None:
    late = recommendation(
        target="retina", label="Retina", answer_key="chased", request_key="chased",
        window=Window(until="2026-11-23T10:00:00-06:00", text="overdue", overdue=True),
        placed=Placed(reference="ServiceRequest/4", status="active", priority="stat", overdue=True),
    )  # fmt: skip
    made = to_bundle(assessment(to_chase=(late,), to_judge=(JUDGE,)), SamplePack(), visit=flat_visit())
    [plan] = resources("CarePlan", made)
    assert (plan["status"], plan["intent"]) == ("draft", "proposal")
    links = [activity["reference"] for activity in plan["activity"]]
    assert [link["display"] for link in links] == [
        "Ophthalmology", "Retina", "Judge: Serum bilirubin", "Weigh again", "No pacifier yet", "Tell the family",
    ]  # fmt: skip
    requests = [*resources("ServiceRequest", made), *resources("CommunicationRequest", made)]
    assert [link["reference"] for link in links] == [url(request, made) for request in requests]
    groups = [request.get("requisition") or request["groupIdentifier"] for request in requests]
    assert [group["value"] for group in groups] == [plan["identifier"][-1]["value"]] * len(requests)
    [response] = resources("GuidanceResponse", made)
    assert response["result"] == {"reference": url(plan, made)}


def test_what_concerns_the_mother_is_not_named_by_the_plan() -> None:
    hers = recommendation(subject="mother", label="Emergency help for her mood")
    made = to_bundle(assessment(recommendations=(hers,), avoid=()), SamplePack(), visit=flat_visit(), parts="inbox")
    for kind in ("CarePlan", "Task"):
        [resource] = resources(kind, made)
        assert "description" not in resource
        assert "mood" not in dumps(resource)
    [response] = resources("GuidanceResponse", made)
    assert response["meta"]["security"][0]["code"] == "R"


def test_nothing_proposed_means_no_plan() -> None:
    nothing = assessment(recommendations=(), avoid=(), guidance=(), reassurance=())
    made = to_bundle(nothing, SamplePack(), visit=flat_visit(), parts="inbox")
    assert resources("CarePlan", made) == resources("Task", made) == []
    [response] = resources("GuidanceResponse", made)
    assert "result" not in response


def test_an_inbox_that_works_by_task_is_asked_to_approve_the_plan() -> None:
    assert not resources("Task")
    made = to_bundle(assessment(), SamplePack(), visit=flat_visit(), parts="inbox")
    [task], [plan] = resources("Task", made), resources("CarePlan", made)
    assert task["code"]["coding"][0]["code"] == "approve"
    assert task["focus"] == {"reference": url(plan, made)}
    assert (task["status"], task["intent"], task["priority"]) == ("requested", "proposal", "stat")


JUDGE = ToJudge(
    target="serum_bilirubin", kind="order", label="Serum bilirubin", priority="stat", rules=("jaundice.line",),
    values=(Used(subject="serum_bilirubin", label="Serum bilirubin", value="more than 20 mg/dL",
                 time="2026-11-24T10:00:00-06:00"),),
    why="No line for this gestation.", settles="Read it on your chart.", request_key="j", answer_key="j.stat",
)  # fmt: skip


def test_what_is_to_be_judged_is_a_request_that_points_at_the_value_and_carries_no_note_of_ours() -> None:
    made = to_bundle(assessment(recommendations=(), avoid=(), to_judge=(JUDGE,)), SamplePack(), visit=flat_visit())
    [request] = resources("ServiceRequest", made)
    [bilirubin] = observations("Serum bilirubin", made)
    assert request["code"]["coding"] == [
        {"system": f"{BASE}/CodeSystem/judgments", "code": "judge", "display": "Judge this value"}
    ]
    assert request["reasonReference"] == [{"reference": url(bilirubin, made)}]
    assert request["reasonCode"] == [{"text": "No line for this gestation."}]
    assert request["orderDetail"][-1] == {"text": "Read it on your chart."}
    assert (request["status"], request["intent"], request["priority"]) == ("draft", "proposal", "stat")
    assert "note" not in request


def test_what_is_open_is_asked_for_step_by_step() -> None:
    [run] = resources("GuidanceResponse")
    assert run["status"] == "data-required"
    asked, due = run["dataRequirement"]
    assert [f["path"] for f in asked["codeFilter"]] == ["code", "bodySite"]
    assert due["dateFilter"][0]["valuePeriod"]["end"] == "2026-11-22T08:30:00-06:00"
    said = [issue["diagnostics"] for issue in run["contained"][0]["issue"]]
    assert any("threshold table is not supplied" in text for text in said)
    assert any("kept, not understood" in text for text in said)


@pytest.mark.parametrize(("parts", "in_words"), [("care", False), ("all", True)])
def test_what_is_wanted_later_is_in_the_data_requirement_and_in_words_where_all_goes_out(
    parts: Parts, in_words: bool
) -> None:
    later = assessment().due[0].model_copy(update={"state": "later", "label": "Hearing"})
    made = to_bundle(assessment(due=(later,)), SamplePack(), visit=flat_visit(), parts=parts)
    [run] = resources("GuidanceResponse", made)
    assert len(run["dataRequirement"]) == 2
    assert any("Hearing: later" in note["text"] for note in run["note"]) == in_words


def test_a_requirement_stands_for_a_step_and_a_set_of_sides_and_loses_no_question() -> None:
    questions = (
        question("red_reflex", "Red reflex, right", side="right"),
        question("red_reflex", "Red reflex, left", side="left"),
        question("weight", "Weight"), question("temperature", "Temperature"),
    )  # fmt: skip
    step = Step(area="eyes", label="Look", worst="stat", rules=2, emergencies=1, questions=questions)
    made = to_bundle(assessment(steps=(step,), due=()), SamplePack(), visit=flat_visit())
    [response] = resources("GuidanceResponse", made)
    sided, plain = response["dataRequirement"]
    own = f"{BASE}/CodeSystem/findings"
    assert set_of_codes(response, sided) == {(own, "red_reflex")}
    assert [one["code"] for one in sided["codeFilter"][1]["code"]] == ["7771000", "24028007"]
    codes = set_of_codes(response, plain)
    assert codes > {(own, "weight"), (own, "temperature")}
    assert ("http://loinc.org", "29463-7") in codes
    assert [one["id"] for one in response["contained"][1:]] == ["eyes.1", "eyes.2"]


def set_of_codes(response: dict[str, Any], requirement: dict[str, Any]) -> set[tuple[str, str]]:
    """The codes that a requirement takes as alternatives: those of a contained set."""
    name = requirement["codeFilter"][0]["valueSet"].removeprefix("#")
    [contained] = [one for one in response["contained"] if one["id"] == name]
    return {(one["system"], code["code"]) for one in contained["compose"]["include"] for code in one["concept"]}


def test_a_run_with_nothing_open_is_a_success() -> None:
    made = to_bundle(assessment(steps=(), due=()), SamplePack(), visit=flat_visit())
    assert [r["status"] for r in resources("GuidanceResponse", made)] == ["success"]
