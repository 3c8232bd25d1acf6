"""A value that could not be read, on which something pressing may hang, stands in the verdict: it is an action."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from support.read_samples import AT, LOINC, SNOMED, concept, observation, own, quantity, resource, visit_bundle

from layette.engine import Assessment, load_pack
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.pack.written.shapes import listed
from layette.engine.states.plan import StatesPlan
from layette.mapping.answering import answer
from layette.mapping.read import read

FLAGS = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
CRITICAL = {"interpretation": [concept(FLAGS, "HH")]}


def assessed(*resources: dict[str, Any]) -> Assessment:
    return answer(visit_bundle(*resources), load_pack(), readers=["native"]).assessment


def behind() -> list[str]:
    return sorted(AnswerPlan(StatesPlan(load_pack())).behind_pressing)


def numbers_behind() -> list[str]:
    shapes = {name: load_pack().findings[name] for name in behind()}
    return [name for name, shape in shapes.items() if shape.number is not None and shape.readings is None]


@pytest.mark.parametrize("finding", numbers_behind())
def test_a_critical_flag_without_its_number_stands_in_the_verdict(finding: str) -> None:
    shape = load_pack().findings[finding]
    verdict = assessed(observation(own(finding), **CRITICAL)).verdict
    assert (verdict.unread, verdict.pressing) == (1, True)
    assert shape.label in verdict.text
    assert "Nothing pressing" not in verdict.text


@pytest.mark.parametrize("said", ["hot to touch", "38,6 C", "38.6", "about 39 C"])
def test_a_temperature_in_words_stands_in_the_verdict(said: str) -> None:
    verdict = assessed(observation(own("temperature"), valueString=said)).verdict
    assert verdict.text.startswith("1 value could not be read, look before they leave: Temperature.")


def test_what_was_taken_back_or_found_at_another_visit_is_no_action_of_today() -> None:
    back = observation(own("temperature"), valueString="hot", status="entered-in-error")
    before = observation(own("temperature"), valueString="hot", effectiveDateTime="2026-11-21T09:00:00-06:00")
    earlier = {key: value for key, value in before.items() if key != "encounter"}
    assert [assessed(one).verdict.unread for one in (back, earlier)] == [0, 0]


def test_what_can_bring_no_emergency_is_told_and_does_not_press() -> None:
    found = assessed(observation(own("anterior_fontanelle_size"), valueString="usual"))
    assert found.verdict.unread == 0
    assert any("kept, not understood: usual" in warning for warning in found.warnings)


def test_a_flat_visit_carries_it_on() -> None:
    visit = read(visit_bundle(observation(own("temperature"), valueString="hot")), load_pack()).require().visit
    assert visit["not_understood"][0]["finding"] == "temperature"
    assert load_pack().assess(visit, readers=["native"]).verdict.unread == 1
    assert visit["at"] == AT


def unexpected(finding: str) -> dict[str, Any]:
    """Return a value that a healthy newborn does not show; of a number, that in the middle of what is possible."""
    shape = load_pack().findings[finding]
    if shape.number is not None:
        low, high = map(Decimal, map(str, shape.number.plausible))
        return {"valueQuantity": quantity(str((low + high) // 2), shape.number.unit)}
    return {"valueCodeableConcept": {"text": odd_values(finding)[0]}}


def odd_values(finding: str) -> list[str]:
    shape = load_pack().findings[finding]
    return [value for value in shape.values or () if value not in {*listed(shape.expected), shape.not_understood}]


def code_of(finding: str) -> dict[str, Any]:
    shape = load_pack().findings[finding]
    side = next(iter(shape.sides or ()), "") or next(iter(shape.readings.parts if shape.readings else ()), "")
    return own(f"{finding}.{side}" if side else finding)


def without_a_visit(finding: str) -> dict[str, Any]:
    return observation(code_of(finding), **unexpected(finding), encounter=None, effectiveDateTime=None)


def only_the_month(finding: str) -> dict[str, Any]:
    return observation(code_of(finding), **unexpected(finding), encounter=None, effectiveDateTime=AT[:7])


def without_side_or_part(finding: str) -> dict[str, Any]:
    return observation(own(finding), **unexpected(finding))


def in_words_alone(finding: str) -> dict[str, Any]:
    return observation({"text": load_pack().findings[finding].label}, **unexpected(finding), **of_whom(finding))


def under_our_code_at_another_address(finding: str) -> dict[str, Any]:
    elsewhere = concept("https://elsewhere.example/CodeSystem/findings", finding.replace("_", "-"))
    return observation(elsewhere, **unexpected(finding), **of_whom(finding))


def of_whom(finding: str) -> dict[str, Any]:
    of_mother = load_pack().findings[finding].subject == "mother"
    return {"focus": [{"reference": "RelatedPerson/mother"}]} if of_mother else {}


MOTHER = resource(
    "RelatedPerson", id="mother", subject=None, patient={"reference": "Patient/mara"},
    relationship=[concept("http://terminology.hl7.org/CodeSystem/v3-RoleCode", "MTH")],
)  # fmt: skip


def about_nobody(finding: str) -> dict[str, Any]:
    return observation(code_of(finding), **unexpected(finding), subject={"display": "Baby"})


def with_a_modifier_that_is_not_known(finding: str) -> dict[str, Any]:
    return observation(code_of(finding), **unexpected(finding), implicitRules="http://elsewhere.example/rules")


def in_a_form_of_others(finding: str) -> dict[str, Any]:
    given = unexpected(finding)
    concept_of = given.get("valueCodeableConcept")
    said = {"valueString": concept_of["text"]} if concept_of else given
    item = {"linkId": "7", "text": load_pack().findings[finding].label, "answer": [said]}
    form = "http://elsewhere.example/Questionnaire/intake"
    return resource("QuestionnaireResponse", status="completed", questionnaire=form, authored=AT, item=[item])


def test_nothing_under_a_code_that_nobody_knows_is_passed_over() -> None:
    """Whatever finding it is of: the verdict tells it by its value, and never says that nothing was recorded."""
    for finding in (one for one in behind() if load_pack().findings[one].number or odd_values(one)):
        sent = observation(concept(LOINC, "00000-0"), **unexpected(finding), **of_whom(finding))
        mother = {key: value for key, value in MOTHER.items() if value is not None}
        (kept,) = read(visit_bundle(mother, sent), load_pack()).not_understood
        assert kept.get("here") or "finding" in kept, finding
        assert "loinc 00000-0" in kept["text"], "without words the code says what to look up"


CARELESS = [
    without_a_visit, only_the_month, without_side_or_part, in_words_alone, under_our_code_at_another_address,
    about_nobody, with_a_modifier_that_is_not_known, in_a_form_of_others,
]  # fmt: skip


@pytest.mark.parametrize("sent", CARELESS, ids=lambda sent: sent.__name__)
def test_nothing_unexpected_on_which_something_pressing_hangs_is_passed_over(sent: Any) -> None:
    silent = []
    for finding in (one for one in behind() if load_pack().findings[one].number or odd_values(one)):
        mother = {key: value for key, value in MOTHER.items() if value is not None}
        found = read(visit_bundle(mother, sent(finding)), load_pack())
        told = {one.get("finding") for one in found.not_understood} | found.visit["findings"].keys()
        labels = {load_pack().findings[name].label for name in told if name in load_pack().findings}
        if not found.problems and load_pack().findings[finding].label not in labels:
            silent.append(finding)
    assert silent == []


def test_a_value_as_expected_that_cannot_be_placed_does_not_press() -> None:
    sent = observation(own("red_reflex"), valueCodeableConcept={"text": "present"})
    assert assessed(sent).verdict.unread == 0


@pytest.mark.parametrize(
    ("code", "value", "named"),
    [
        ({"text": "Temp"}, quantity("38.4", "Cel"), "temperature"),
        ({"text": "Temp"}, quantity("38.4", "mg/dL"), ""),
        (concept(LOINC, "8331-1") | {"text": "Oral temperature"}, quantity("38.4", "Cel"), "temperature"),
        (concept(LOINC, "8331-1") | {"text": "Oral temperature"}, quantity("38.4", "mg/dL"), ""),
        (concept(LOINC, "8331-1") | {"text": "Oral temperature"}, {"value": Decimal("38.4")}, "temperature"),
        ({"text": "Glucose [Mass/volume] in Capillary blood"}, quantity("18", "mg/dL"), "blood_sugar"),
        (concept("urn:oid:1.2.3", "BILT") | {"text": "Bilirubin, total"}, quantity("28", "mg/dL"), "serum_bilirubin"),
        ({"text": "Bilirubin"}, quantity("28", "mg/dL"), "serum_bilirubin"),
        ({"text": "Direct bilirubin"}, quantity("8", "mg/dL"), "direct_bilirubin"),
    ],
)
def test_a_number_under_an_unknown_code_is_told_by_what_is_measured(
    code: dict[str, Any], value: dict[str, Any], named: str
) -> None:
    (kept,) = read(visit_bundle(observation(code, valueQuantity=value)), load_pack()).not_understood
    assert kept.get("finding", "") == named


@pytest.mark.parametrize(("score", "named"), [("44260-8", "phq9_self_harm_item"), ("44261-6", "phq9_total")])
def test_what_the_mother_answered_in_the_record_of_the_baby_stands_in_the_verdict(score: str, named: str) -> None:
    verdict = assessed(observation(concept(LOINC, score), valueInteger=3)).verdict
    assert (verdict.unread, verdict.pressing) == (1, True)
    assert load_pack().findings[named].label in verdict.text


def diagnosis(snomed: str, **more: Any) -> dict[str, Any]:
    status = "http://terminology.hl7.org/CodeSystem/condition-clinical"
    given = {"clinicalStatus": concept(status, "active"), "encounter": {"reference": "Encounter/visit"}, **more}
    found = resource("Condition", **{"code": concept(SNOMED, snomed), **given})
    return {key: value for key, value in found.items() if value is not None}


OVER = {"clinicalStatus": concept("http://terminology.hl7.org/CodeSystem/condition-clinical", "resolved")}
SEIZURE, WHITE_PUPIL = "87476004", "1361009"


@pytest.mark.parametrize(
    "sent",
    [
        diagnosis(WHITE_PUPIL),
        diagnosis(SEIZURE, **OVER),
        diagnosis(SEIZURE, **OVER, encounter=None, recordedDate=AT),
        diagnosis(SEIZURE, encounter=None, onsetDateTime=AT[:7]),
        diagnosis(SEIZURE, encounter=None, clinicalStatus=None),
        diagnosis("0", code={"text": "Convulsions"}),
        diagnosis("0", code=concept("http://hl7.org/fhir/sid/icd-10-cm", "P90", "Convulsions of newborn")),
    ],
    ids=[
        "no side",
        "over, of this visit",
        "over, of today",
        "since this month",
        "of no known time",
        "words",
        "other code",
    ],
)
def test_a_diagnosis_that_cannot_be_placed_stands_in_the_verdict(sent: dict[str, Any]) -> None:
    assert assessed(sent).verdict.unread == 1


@pytest.mark.parametrize(
    "sent",
    [
        diagnosis(SEIZURE, **OVER, encounter=None, recordedDate="2026-11-21T09:00:00-06:00"),
        diagnosis(WHITE_PUPIL, **OVER, bodySite=[concept(SNOMED, "7771000")]),
        diagnosis(
            SEIZURE, verificationStatus=concept("http://terminology.hl7.org/CodeSystem/condition-ver-status", "refuted")
        ),
        diagnosis(SEIZURE, encounter=None, onsetDateTime="2026-10"),
    ],
    ids=["an event of another day", "no event, and over", "refuted", "of another month"],
)
def test_a_diagnosis_that_is_settled_or_of_another_time_does_not_press(sent: dict[str, Any]) -> None:
    assert assessed(sent).verdict.unread == 0


def test_a_result_of_the_mother_in_words_counts_at_any_visit_and_is_told_where_it_is_not_understood() -> None:
    mother = {key: value for key, value in MOTHER.items() if value is not None}
    before = {"encounter": None, "effectiveDateTime": "2026-05-05", **of_whom("mother_hbsag")}
    reactive, odd = (
        observation(concept(LOINC, "5196-1"), valueString=said, **before) for said in ("Reactive", "see note")
    )
    urgent = {r.target for r in assessed(mother, reactive).recommendations if r.priority == "stat"}
    assert "hepatitis_b_immune_globulin" in urgent
    assert assessed(mother, odd).verdict.unread == 1


def test_a_total_in_another_form_is_known_by_the_code_of_its_question() -> None:
    item = {"linkId": "/71354-5/99046-5", "answer": [{"valueDecimal": 25}]}
    form = resource(
        "QuestionnaireResponse",
        status="completed",
        questionnaire="http://loinc.org/q/71354-5",
        authored=AT,
        item=[item],
    )
    assert "Edinburgh" in assessed(form).verdict.text
    assert assessed({**form, "authored": "2026-11-21T09:00:00-06:00"}).verdict.unread == 0


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (observation({"text": "Body temperature"}, valueQuantity=quantity("38.9", "Cel")), "Body temperature 38.9 Cel"),
        (observation(own("red_reflex"), valueCodeableConcept={"text": "white"}), "white"),
        (observation(concept(LOINC, "44260-8"), valueInteger=3),
         "Thoughts that you would be better off dead, or of hurting yourself in some way… 3"),
        (observation(own("temperature"), valueQuantity=quantity("39", "Cel", comparator=">"), encounter=None,
                     effectiveDateTime=None), "> 39 Cel"),
    ],
)  # fmt: skip
def test_what_somebody_has_to_look_at_is_told_with_its_value(sent: dict[str, Any], said: str) -> None:
    (kept,) = read(visit_bundle(sent), load_pack()).not_understood
    assert kept["text"] == said


@pytest.mark.parametrize(("hours", "pressing"), [(14, True), (30, False)])
def test_an_active_diagnosis_of_an_event_of_the_last_day_counts_wherever_it_was_entered(
    hours: int, pressing: bool
) -> None:
    before = (datetime.fromisoformat(AT) - timedelta(hours=hours)).isoformat()
    found = assessed(diagnosis(SEIZURE, encounter=None, recordedDate=before))
    assert ("emergency_department" in {r.target for r in found.recommendations if r.priority == "stat"}) is pressing


def test_an_active_diagnosis_of_an_event_of_yesterday_without_an_hour_counts_as_perhaps_of_the_last_day() -> None:
    found = assessed(diagnosis(SEIZURE, encounter=None, recordedDate="2026-11-23"))
    assert found.verdict.pressing
