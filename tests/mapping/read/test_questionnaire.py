"""Responses to the exam: the same facts give the same assessment, whichever way they come in."""

from __future__ import annotations

import copy
from decimal import Decimal
from typing import Any

import pytest
from support.exam_samples import AT, FINDINGS, as_bundle, as_observations, exam, flat, random_visit, response
from support.sweeps import whole

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack, load_pack
from layette.mapping.codes import ABSENT_REASON
from layette.mapping.door import check_input
from layette.mapping.read import ReadResult, read
from layette.mapping.validate import validate
from layette.mapping.write import to_bundle

Resource = dict[str, Any]


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack()


def assess(pack: Pack, visit: Resource) -> Assessment:
    return pack.assess(visit, readers=["native"])


def without_origin(value: Any) -> Any:
    """Take away where a value came from: a flat visit has no resource to point at."""
    if isinstance(value, dict):
        return {key: without_origin(one) for key, one in value.items() if key != "origin"}
    return [without_origin(one) for one in value] if isinstance(value, list) else value


@pytest.mark.parametrize("seed", range(12))
def test_a_response_gives_the_bytes_of_the_flat_visit_and_of_observations(pack: Pack, seed: int) -> None:
    same_every_way(pack, random_visit(pack, seed, share=0.15 + 0.07 * seed))


@pytest.mark.slow
@pytest.mark.parametrize("tenth", range(10))
def test_many_responses_give_the_same_bytes(pack: Pack, tenth: int, request: pytest.FixtureRequest) -> None:
    """Four visits each; `--whole-sweeps` takes ten."""
    for seed in range(100 + tenth * 10, (110 if whole(request) else 104) + tenth * 10):
        same_every_way(pack, random_visit(pack, seed))


def same_every_way(pack: Pack, visit: Resource) -> None:
    given = response(pack, visit)
    assert validate(as_bundle(given)) == []
    result = read(as_bundle(given), pack).require()
    assert result.not_understood == []
    assert (result.counts.entries, result.counts.used) == (3, 3)
    plain = assess(pack, visit)
    assert assess(pack, result.visit).to_json() == plain.to_json()
    observed = read(as_bundle(*as_observations(pack, visit), sex=visit["sex_at_birth"]), pack).require()
    as_sent = assess(pack, observed.visit)
    assert without_origin(as_sent.model_dump(mode="json")) == without_origin(plain.model_dump(mode="json"))


def answers(pack: Pack, *items: Resource, **changes: Any) -> Resource:
    """A response with a few items."""
    whole = {
        "resourceType": "QuestionnaireResponse", "id": "r1", "questionnaire": exam(pack), "status": "completed",
        "subject": {"reference": "Patient/mara"}, "authored": AT, "item": list(items),
    }  # fmt: skip
    return {key: value for key, value in (whole | changes).items() if value is not None}


def took(pack: Pack, *items: Resource, **changes: Any) -> ReadResult:
    return read(as_bundle(answers(pack, *items, **changes)), pack)


def coded(link: str, code: str, system: str = FINDINGS) -> Resource:
    return {"linkId": link, "answer": [{"valueCoding": {"system": system, "code": code}}]}


def quantity(value: str, unit: str) -> Resource:
    return {
        "valueQuantity": {"value": Decimal(value), "unit": unit, "system": "http://unitsofmeasure.org", "code": unit}
    }


def test_what_is_not_answered_is_not_examined(pack: Pack) -> None:
    result = took(pack, {"linkId": "cornea.left"}, coded("cornea.right", "cornea.clear")).require()
    assert result.visit["findings"].keys() == {"cornea"}
    assert [reading["side"] for reading in result.visit["findings"]["cornea"]] == ["right"]
    questions = [q for step in assess(pack, result.visit).steps for q in step.questions if q.finding == "cornea"]
    assert [(q.side, q.state) for q in questions] == [("left", "not examined")]


def test_declined_is_attempted_and_never_normal(pack: Pack) -> None:
    result = took(
        pack,
        coded("cornea.left", "asked-declined", ABSENT_REASON),
        coded("weight.absent", "not-performed", ABSENT_REASON),
        {"linkId": "temperature", "answer": [{"valueQuantity": {"extension": [absent_extension("not-performed")]}}]},
    ).require()
    assert {name: [r["absent"] for r in found] for name, found in result.visit["findings"].items()} == {
        "cornea": ["asked-declined"], "weight": ["not-performed"], "temperature": ["not-performed"]
    }  # fmt: skip
    states = {(q.finding, q.side): (q.state, q.reason) for s in assess(pack, result.visit).steps for q in s.questions}
    assert states["cornea", "left"] == ("attempted", "asked-declined")


def absent_extension(code: str) -> Resource:
    return {"url": "http://hl7.org/fhir/StructureDefinition/data-absent-reason", "valueCode": code}


@pytest.mark.parametrize(("value", "unit"), [("3.250", "kg"), ("3250", "g"), ("7.2", "[lb_av]")])
def test_numbers_keep_unit_and_digits(pack: Pack, value: str, unit: str) -> None:
    result = took(pack, {"linkId": "weight", "answer": [quantity(value, unit)]}).require()
    (reading,) = result.visit["findings"]["weight"]
    assert (reading["value"], reading["unit"]) == (value, unit)
    assert "origin" not in reading


def test_an_answer_carries_its_own_time_and_route(pack: Pack) -> None:
    below = [
        {"linkId": "temperature.time", "answer": [{"valueDateTime": "2026-11-24T02:00:00-06:00"}]},
        coded("temperature.route", "temperature.route.rectal"),
    ]
    given = {
        "linkId": "temperature",
        "answer": [quantity("101.1", "[degF]") | {"item": below}, quantity("36.9", "Cel")],
    }
    first, second = took(pack, given).require().visit["findings"]["temperature"]
    assert (first["time"], first["route"], "time" in second) == ("2026-11-24T02:00:00-06:00", "rectal", False)


def test_the_sex_at_birth_is_taken_where_it_is_answered(pack: Pack) -> None:
    result = took(pack, coded("sex_at_birth", "sex_at_birth.male")).require()
    assert result.visit["sex_at_birth"] == "male"


def test_without_an_encounter_the_visit_is_when_the_exam_was_authored(pack: Pack) -> None:
    bundle = as_bundle(answers(pack, coded("murmur", "murmur.none"), authored="2026-11-23T09:00:00-06:00"))
    del bundle["entry"][1]
    result = read(bundle, pack).require()
    assert result.visit["at"] == "2026-11-23T09:00:00-06:00"


def test_the_exam_of_an_earlier_visit_is_history(pack: Pack) -> None:
    earlier = "2026-11-22T09:00:00-06:00"
    result = took(pack, {"linkId": "weight", "answer": [quantity("3.1", "kg")]}, authored=earlier).require()
    assert result.visit["findings"] == {}
    (reading,) = result.visit["history"]["findings"]["weight"]
    assert reading["time"] == earlier


@pytest.mark.parametrize(
    ("item", "code", "place"),
    [
        (coded("murmur", "murmur.purple"), "value", ".item[0].answer[0].valueCoding"),
        ({"linkId": "weight", "answer": [quantity("3", "h")]}, "unit", ".item[0].answer[0].valueQuantity"),
        ({"linkId": "weight", "answer": [{"valueDecimal": Decimal(3)}]}, None, ".item[0].answer[0].valueDecimal"),
        ({"linkId": "murmur", "answer": "yes"}, "structure", ".item[0].answer[0]"),
        (
            {"linkId": "murmur", "answer": [{"valueBoolean": True, "valueString": "x"}]},
            "contradiction",
            ".item[0].answer[0].valueBoolean",
        ),
        (
            {
                "linkId": "weight",
                "answer": [
                    quantity("3", "kg")
                    | {"item": [{"linkId": "weight.time", "answer": [{"valueDateTime": "2027-01-01T00:00:00Z"}]}]}
                ],
            },
            "time",
            ".item[0].answer[0].item[0].answer[0].valueDateTime",
        ),
        (coded("moon_phase", "moon_phase.full"), None, ".item[0].answer[0]"),
        (coded("weight.time", "x"), None, ".item[0].answer[0]"),
        ({"linkId": "murmur", "answer": [{}]}, None, ".item[0].answer[0]"),
        (coded("weight.absent", "because", "urn:x"), None, ".item[0].answer[0].valueCoding"),
    ],
)
def test_nothing_is_dropped_in_silence(pack: Pack, item: Resource, code: str | None, place: str) -> None:
    result = took(pack, item)
    path = f"Bundle.entry[2].resource{place}"
    if code is None:
        assert [one["path"] for one in result.not_understood] == [path]
        assert result.problems == ()
    else:
        assert [(one.path, one.code) for one in result.problems] == [(path, code)]
    assert result.visit["findings"] == {}


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"questionnaire": "https://other.example/Questionnaire/mood"}, "another questionnaire"),
        ({"questionnaire": None}, "another questionnaire"),
        ({"subject": {"reference": "Patient/other"}}, "newborn"),
        ({"item": [{"linkId": "murmur"}]}, "no question has an answer"),
    ],
)
def test_what_is_not_used_says_why(pack: Pack, changes: Resource, why: str) -> None:
    result = took(pack, coded("murmur", "murmur.none"), **changes)
    assert result.visit["findings"] == {}
    assert why in result.not_used[-1].why


@pytest.mark.parametrize(
    ("status", "observed"),
    [("completed", "final"), ("in-progress", "preliminary"), ("entered-in-error", "entered-in-error")],
)
def test_the_status_of_the_response_is_that_of_its_readings(pack: Pack, status: str, observed: str) -> None:
    result = took(pack, coded("murmur", "murmur.none"), status=status)
    assert [one["status"] for one in result.visit["findings"]["murmur"]] == [observed]


def test_a_mistake_in_a_withdrawn_response_stops_nobody(pack: Pack) -> None:
    result = took(pack, coded("murmur", "murmur.purple"), status="entered-in-error")
    assert result.problems == ()
    assert len(result.not_understood) == 1


def test_what_was_answered_goes_out_as_observations(pack: Pack) -> None:
    given = as_bundle(answers(pack, coded("red_reflex.left", "red_reflex.white")))
    visit = read(given, pack).require().visit
    bundle = to_bundle(assess(pack, visit), pack, source=given, visit=visit)
    assert check_input(bundle).problems == ()
    written = [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == "Observation"]
    assert any(one["code"]["text"] == "Red reflex" and one["bodySite"]["text"] == "left" for one in written)


def test_a_response_with_a_part_of_an_attempt_declined(pack: Pack) -> None:
    group = {
        "linkId": "pulse_oximetry",
        "item": [
            {"linkId": "pulse_oximetry.hand", "answer": [quantity("97", "%")]},
            coded("pulse_oximetry.foot.absent", "asked-declined", ABSENT_REASON),
        ],
    }
    found = took(pack, group, copy.deepcopy(group)).require().visit["findings"]["pulse_oximetry"]
    shown = [{k: v for k, v in one.items() if k not in ("path", "status")} for one in found]
    assert shown == [{"absent": "asked-declined", "part": "foot"}, {"unit": "%", "hand": "97"}] * 2


def test_the_sample_builder_refuses_what_the_exam_cannot_hold(pack: Pack) -> None:
    with pytest.raises(AssertionError, match="no place"):
        response(pack, flat({"weight": [{"value": "3", "unit": "kg", "side": "left"}]}))


def test_a_system_is_normal_by_one_touch_and_what_is_answered_by_itself_comes_first(pack: Pack) -> None:
    touch = coded("eyes_examination", "eyes_examination.normal")
    cloudy = coded("cornea.left", "cornea.cloudy")
    result = took(pack, touch, cloudy).require()
    assert result.not_understood == []
    asked = assess(pack, result.visit)
    flat_findings = {"eyes_examination": "normal", "cornea": [{"value": "cloudy", "side": "left"}]}
    assert without_times(asked) == without_times(assess(pack, flat(flat_findings, sex="unknown")))


def without_times(found: Assessment) -> Any:
    return [(one.target, one.side, one.priority) for one in found.recommendations]
