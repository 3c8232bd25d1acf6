"""What matters clinically in the shipped examples, by name, so that renewing a kept output cannot hide a wrong one."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

import pytest
from support.shipped_examples import EXAMPLES, NAMES, assess

from layette.mapping.fhir.json import loads

PRIORITIES = ("stat", "asap", "urgent", "routine")
Key = tuple[str, str | None]


@dataclass(frozen=True)
class Wanted:
    """What an example has to answer. A target is named alone, or with its side after a dot.

    ``only`` means that nothing else is recommended; ``open`` are targets that may not be called settled, with the
    priority that they could still bring; ``unseen`` are areas of the examination that are still to be looked at, with
    the worst that each could bring.
    """

    recommended: dict[str, str]
    only: bool = False
    never: tuple[str, ...] = ()
    reassured: tuple[str, ...] = ()
    avoided: tuple[str, ...] = ()
    guided: tuple[str, ...] = ()
    not_guided: tuple[str, ...] = ()
    open: dict[str, str] = field(default_factory=dict)
    settled: tuple[str, ...] = ()
    unseen: dict[str, str] = field(default_factory=dict)
    measured: dict[str, str] = field(default_factory=dict)


WANTED = {
    "healthy-day-4": Wanted(
        recommended={},
        only=True,
        reassured=("newborn_rash_words", "molding_words", "peeling_skin_words", "girl_swelling_words"),
        guided=("sleep_on_back", "fever_call", "when_to_call", "feeding_on_cue", "jaundice_return_signs", "next_visit"),
        not_guided=("formula_care", "firearm_storage", "vitamin_d_daily"),
        settled=("phototherapy", "exchange_transfusion", "serum_bilirubin_test", "same_day_evaluation"),
        measured={"weight_loss": "3.5 %", "bilirubin_rise": "0.07 mg/dL/h"},
    ),
    "jaundiced-sleepy-day-4": Wanted(
        recommended={
            "serum_bilirubin_test": "stat",
            "feeding_assessment": "asap",
            "hydration_assessment": "asap",
            "weight_recheck": "asap",
            "same_day_evaluation": "asap",
            "lactation": "asap",
            "vitamin_d_drops": "routine",
            "cephalohematoma_jaundice": "routine",
            "newborn_screening_program": "routine",
        },
        never=("exchange_transfusion", "hepatitis_b_dose", "vitamin_k_dose", "bloodspot_collection"),
        guided=("jaundice_return_signs", "feeding_on_cue", "when_to_call"),
        open={"phototherapy": "asap", "hemolysis_tests": "asap", "mother_safety_assessment": "stat"},
        measured={
            "weight_loss": "11.0 %",
            "bilirubin_rise": "0.11 mg/dL/h",
            "phototherapy_line": "350.0 umol/L (= 20.5 mg/dL)",
            "phototherapy_margin": "-43.9 umol/L (= -2.6 mg/dL)",
        },
    ),
    "red-reflex-hip-testis-day-6": Wanted(
        recommended={
            "ophthalmology.left": "stat",
            "orthopedics.right": "urgent",
            "hip_recheck.left": "routine",
            "testis_recheck.left": "routine",
            "pediatric_urology.left": "routine",
            "hip_ultrasound": "routine",
            "hip_radiograph_6_months": "routine",
            "vitamin_d_drops": "routine",
        },
        never=("sex_development_specialist", "adrenal_tests", "orthopedics.left", "ophthalmology.right"),
        reassured=("slate_blue_patch_words",),
        avoided=(
            "testis_ultrasound",
            "triple_diapers",
            "early_hip_radiograph",
        ),
    ),
    "half-examined-day-5": Wanted(
        recommended={
            "bilirubin_measurement": "asap",
            "mother_hepatitis_b_test": "asap",
            "palate_second_look": "asap",
            "oximetry_screen": "asap",
            "bloodspot_repeat": "urgent",
            "cmv_test": "urgent",
            "vitamin_k_dose": "asap",
            "hearing_rescreen_test": "routine",
        },
        never=("ophthalmology", "orthopedics.left", "orthopedics.right", "cardiology"),
        open={
            "ophthalmology.left": "stat",
            "ophthalmology.right": "stat",
            "orthopedics.left": "urgent",
            "orthopedics.right": "urgent",
            "cardiology": "stat",
            "sex_development_specialist": "stat",
            "emergency_department": "stat",
            "hepatitis_b_dose": "stat",
            "neurosurgery": "stat",
        },
        unseen={
            "eyes": "stat",
            "diaper-area": "stat",
            "vital-signs": "stat",
            "chest-heart": "stat",
            "hips-limbs": "stat",
            "family": "stat",
        },
    ),
    "two-weeks-after": Wanted(
        recommended={
            "ophthalmology.left": "stat",
            "orthopedics.right": "urgent",
            "orthopedics.left": "urgent",
            "pediatric_urology.left": "routine",
            "testis_recheck.left": "routine",
            "hip_radiograph_6_months": "routine",
        },
        never=("hip_ultrasound", "hip_recheck.left", "ophthalmology.right", "hepatitis_b_dose"),
        guided=("tummy_time", "formula_care", "next_visit_one_month", "fever_call", "when_to_call"),
        not_guided=("sleep_on_back", "firm_flat_surface", "nothing_soft_in_crib", "cord_care", "next_visit"),
        avoided=("testis_ultrasound", "triple_diapers", "early_hip_radiograph"),
    ),
}


@pytest.fixture(scope="module", name="answers")
def _answers(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, Any]]:
    folder = tmp_path_factory.mktemp("clinical")
    return {name: told(json.loads(assess(EXAMPLES / f"{name}.json", "json", folder, "--all"))) for name in NAMES}


def told(answer: dict[str, Any]) -> dict[str, Any]:
    """The answer with its groups laid flat: all that is owed, whether proposed, chased, or to be looked up first."""
    proposed = [one for group in answer["do"] for one in group["items"]]
    owed = [*proposed, *answer["to_chase"], *answer["not_on_record"]]
    guidance = [topic for heading in answer["tell_family"] for topic in heading["topics"]]
    return {**answer, **answer["explanation"], "recommendations": owed, "guidance": guidance}


def test_every_example_says_what_it_is_about() -> None:
    assert set(WANTED) == set(NAMES)


@pytest.mark.parametrize("name", WANTED)
def test_what_is_owed_is_there_with_its_priority(name: str, answers: dict[str, dict[str, Any]]) -> None:
    found = {_name(one): one["priority"] for one in answers[name]["recommendations"]}
    wanted = WANTED[name]
    assert {target: found.get(target) for target in wanted.recommended} == wanted.recommended
    assert not wanted.only or found.keys() == wanted.recommended.keys()
    assert found.keys().isdisjoint(wanted.never)


@pytest.mark.parametrize("name", WANTED)
def test_what_is_said_to_the_family(name: str, answers: dict[str, dict[str, Any]]) -> None:
    wanted, answer = WANTED[name], answers[name]
    guided = {one["target"] for one in answer["guidance"]}
    assert set(wanted.guided) <= guided
    assert guided.isdisjoint(wanted.not_guided)
    assert set(wanted.reassured) <= {one["target"] for one in answer["reassurance"]}
    assert set(wanted.avoided) <= {_name(one) for one in answer["avoid"]}


@pytest.mark.parametrize("name", WANTED)
def test_what_is_open_and_what_is_settled(name: str, answers: dict[str, dict[str, Any]]) -> None:
    wanted, answer = WANTED[name], answers[name]
    states = {_name(one): one for one in answer["answers"]}
    for target, worst in wanted.open.items():
        assert not states[target]["settled"], target
        assert PRIORITIES.index(states[target]["possible"]) <= PRIORITIES.index(worst), target
    assert [target for target in wanted.settled if not states[target]["settled"]] == []
    worst_of = {step["area"]: step["worst"] for step in answer["steps"]}
    assert {area: worst_of.get(area) for area in wanted.unseen} == wanted.unseen


@pytest.mark.parametrize("name", WANTED)
def test_the_numbers(name: str, answers: dict[str, dict[str, Any]]) -> None:
    found = {one["id"]: one["text"] for one in answers[name]["measures"]}
    assert {key: found.get(key) for key in WANTED[name].measured} == WANTED[name].measured


def test_nothing_of_the_healthy_baby_is_more_than_routine(answers: dict[str, dict[str, Any]]) -> None:
    assert {one["certain"] for one in answers["healthy-day-4"]["answers"]} <= {None, "routine"}


def test_no_referral_of_the_healthy_baby_is_open(answers: dict[str, dict[str, Any]]) -> None:
    referrals = [one for one in answers["healthy-day-4"]["answers"] if one["kind"] == "refer"]
    assert len(referrals) > 40
    assert [_name(one) for one in referrals if not one["settled"]] == []


def test_nothing_more_is_to_be_examined_in_the_healthy_baby(answers: dict[str, dict[str, Any]]) -> None:
    assert answers["healthy-day-4"]["steps"] == []


def test_what_was_declined_or_not_managed_is_told_apart_from_what_was_never_tried(
    answers: dict[str, dict[str, Any]],
) -> None:
    asked = {
        (question["finding"], question["reason"])
        for step in answers["half-examined-day-5"]["steps"]
        for question in step["questions"]
    }
    assert {("ortolani", "asked-declined"), ("testis", "asked-declined"), ("red_reflex", "not-performed")} <= asked
    assert ("cornea", None) in asked


def test_two_weeks_later_the_loose_hip_is_more_urgent_than_it_was(answers: dict[str, dict[str, Any]]) -> None:
    before, after = (
        {_name(one): one for one in answers[name]["recommendations"]}
        for name in ("red-reflex-hip-testis-day-6", "two-weeks-after")
    )
    assert "orthopedics.left" not in before
    assert before["hip_recheck.left"]["priority"] == "routine"
    assert [reason["rule"] for reason in after["orthopedics.left"]["reasons"]] == ["hips.barlow-persists"]


def test_an_order_that_stands_too_late_is_proposed_again_and_named(answers: dict[str, dict[str, Any]]) -> None:
    hip = next(one for one in answers["two-weeks-after"]["recommendations"] if _name(one) == "orthopedics.right")
    placed = hip["placed"]
    assert (placed["status"], placed["priority"], hip["priority"]) == ("active", "routine", "urgent")


@pytest.mark.parametrize("name", NAMES)
def test_what_must_not_be_done_never_goes_out_as_a_request(name: str, answers: dict[str, Any], tmp_path: Any) -> None:
    bundle = loads(assess(EXAMPLES / f"{name}.json", "fhir-json", tmp_path))
    requests = [entry["resource"] for entry in bundle["entry"] if entry["resource"]["resourceType"] == "ServiceRequest"]
    refused = sorted(one["code"]["text"] for one in requests if one.get("doNotPerform"))
    assert refused == sorted(one["label"] for one in answers[name]["avoid"])
    assert {(one["status"], one["intent"]) for one in requests} <= {("draft", "proposal")}


def _name(one: dict[str, Any]) -> str:
    return f"{one['target']}.{one['side']}" if one["side"] else str(one["target"])
