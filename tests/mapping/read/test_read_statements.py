"""What is said of a visit in resources that are not read as findings: nothing of it is passed over."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import AT, LOINC, SNOMED, concept, encounter, observation, own, patient, quantity
from support.read_samples import bundle as bundle_of

from layette.engine import Assessment, load_pack
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.states.plan import StatesPlan
from layette.mapping.answering import Answer, answer
from layette.mapping.codes import OWN_BASE, finding_words

ICD = "http://hl7.org/fhir/sid/icd-10-cm"
BEFORE = "2026-11-21T09:00:00-06:00"
BILIOUS = concept(ICD, "P92.01", "Bilious vomiting of newborn")
VISIT = {"reference": "Encounter/visit"}
HER_SELF_HARM = "Edinburgh scale, item 10 (thought of harming herself)"
PULSES, VOMITING, COLOUR = "Pulse in the groin", "Vomiting", "Color"
Told = tuple[tuple[str, ...], tuple[str, ...]]
"""Findings of which a value could not be read, and what is told in the words of the record."""


def answered(*resources: dict[str, Any], visit: dict[str, Any] | None = None) -> Answer:
    return answer(bundle_of(patient(), visit or encounter(), *resources), load_pack(), readers=["native"])


def assessed(*resources: dict[str, Any]) -> Assessment:
    return answered(*resources).assessment


def told(*resources: dict[str, Any], visit: dict[str, Any] | None = None) -> Told:
    verdict = answered(*resources, visit=visit).assessment.verdict
    for said in (*verdict.not_read, *verdict.unknown[:3]):
        assert said[:60] in verdict.text
    assert not (verdict.unknown and "Nothing pressing in what was recorded" in verdict.text)
    return verdict.not_read, verdict.unknown


def of_baby(kind: str, **more: Any) -> dict[str, Any]:
    about = "patient" if kind in ("AllergyIntolerance", "DetectedIssue", "FamilyMemberHistory") else "subject"
    return {"resourceType": kind, "id": "one", about: {"reference": "Patient/mara"}, **more}


def flag(text: str, **more: Any) -> dict[str, Any]:
    return of_baby("Flag", **({"status": "active", "encounter": VISIT} | more), code={"text": text})


def impression(**more: Any) -> dict[str, Any]:
    return of_baby("ClinicalImpression", status="completed", encounter=VISIT, **more)


def report(**more: Any) -> dict[str, Any]:
    return of_baby("DiagnosticReport", status="final", code={"text": "Echo"}, effectiveDateTime=BEFORE, **more)


def message(text: str) -> dict[str, Any]:
    return of_baby("Communication", status="completed", sent=AT, payload=[{"contentString": text}])


def family(text: str) -> dict[str, Any]:
    said = [{"code": {"text": text}}]
    return of_baby("FamilyMemberHistory", status="completed", relationship={"text": "mother"}, condition=said)


def procedure(text: str) -> dict[str, Any]:
    return of_baby("Procedure", status="completed", encounter=VISIT, code={"text": text})


def diagnosis(text: str) -> dict[str, Any]:
    return of_baby("Condition", recordedDate=AT, encounter=VISIT, code={"text": text})


def request(text: str, priority: str, **more: Any) -> dict[str, Any]:
    made = {"status": "active", "intent": "order", "authoredOn": AT, "encounter": VISIT, "priority": priority} | more
    kept = {key: value for key, value in made.items() if value is not None}
    return of_baby("ServiceRequest", **kept, code={"text": text})


def risk(text: str) -> dict[str, Any]:
    return of_baby("RiskAssessment", status="final", prediction=[{"outcome": {"text": text}}])


@pytest.mark.parametrize(
    ("sent", "findings", "unknown"),
    [
        (flag("Danger: see the social worker"), (), ("Danger: see the social worker",)),
        (flag("Suicidal"), (HER_SELF_HARM,), ("Suicidal",)),
        (flag("Danger", status="inactive"), (), ()),
        (flag("Danger", encounter={"reference": "Encounter/before"}), (), ()),
        (impression(summary="absent femoral pulses"), (PULSES,), ("absent femoral pulses",)),
        (impression(finding=[{"itemCodeableConcept": BILIOUS}]), (VOMITING,), ()),
        (report(conclusion="small hole between the ventricles"), (), ("Echo small hole between the ventricles",)),
        (report(conclusion="Normal"), (), ()),
        (report(conclusionCode=[concept(SNOMED, "7305005")]), (), ("Coarctation of aorta (disorder)",)),
        (message("he turned a strange shade"), (), ("he turned a strange shade",)),
        (of_baby("AllergyIntolerance", code={"text": "latex"}), (), ("latex",)),
        (family("carrier of something"), (), ("carrier of something",)),
        (risk("loss of hearing"), (), ("loss of hearing",)),
        (of_baby("DetectedIssue", status="final", detail="phoned: critical"), (), ("phoned: critical",)),
        (of_baby("AdverseEvent", actuality="actual", date=AT, event={"text": "a fall"}), (), ("a fall",)),
        (procedure("Resuscitation"), (), ("Resuscitation",)),
        (procedure("Well child visit"), (), ()),
        (procedure("Abnormal screening, repeated"), (), ("Abnormal screening, repeated",)),
        (diagnosis("Health examination for newborn under 8 days old"), (), ()),
        (diagnosis("Single liveborn infant"), (), ()),
        (diagnosis("Abnormal findings on neonatal screening"), (), ("Abnormal findings on neonatal screening",)),
        (request("Transfer to intensive care", "stat"), (), ("Transfer to intensive care",)),
        (request("Ultrasound of something", "routine"), (), ()),
        (request("Transfer to intensive care", "stat", status="completed"), (), ()),
        (request("Transfer to intensive care", "stat", encounter=None, authoredOn=BEFORE), (), ()),
    ],
)
def test_what_a_resource_states_is_told(
    sent: dict[str, Any], findings: tuple[str, ...], unknown: tuple[str, ...]
) -> None:
    assert told(sent) == (findings, unknown)


@pytest.mark.parametrize(
    ("reason", "findings", "unknown"),
    [
        (BILIOUS, (VOMITING,), ()),
        ({"text": "green vomit since the morning"}, (VOMITING,), ("green vomit since the morning",)),
        ({"text": "looks odd"}, (), ("looks odd",)),
        (concept(ICD, "Z00.110"), (), ()),
        ({"text": "Well child visit"}, (), ()),
    ],
)
def test_the_reason_for_the_visit_is_told_unless_it_is_routine(
    reason: dict[str, Any], findings: tuple[str, ...], unknown: tuple[str, ...]
) -> None:
    assert told(visit=encounter(reasonCode=[reason])) == (findings, unknown)


@pytest.mark.parametrize("element", ["diagnosis", "reasonReference"])
def test_a_diagnosis_that_the_encounter_names_is_of_this_visit(element: str) -> None:
    seizure = of_baby("Condition", code=concept(SNOMED, "87476004"))
    link = {"reference": "Condition/one"}
    named = encounter(**{element: [{"condition": link} if element == "diagnosis" else link]})
    assert answered(seizure, visit=named).assessment.verdict.now == 1
    assert assessed(seizure).verdict.not_read == ("Convulsions",), "of no known time"


def test_a_note_is_told_and_is_all_that_tells_of_a_value_that_stands_in_words() -> None:
    note = {"note": [{"text": "critical, phoned"}]}

    def without(reason: str, **more: Any) -> dict[str, Any]:
        absent = concept("http://terminology.hl7.org/CodeSystem/data-absent-reason", reason)
        return observation(concept(LOINC, "1975-2"), dataAbsentReason=absent, **more)

    assert assessed(without("error", **note)).verdict.unknown == ("critical, phoned",)
    assert assessed(without("as-text")).verdict.not_read == ("Total bilirubin in serum",)
    assert assessed(without("temp-unknown", **note)).verdict.unread == 0
    normal = observation(own("temperature"), valueQuantity=quantity("36.9", "Cel"), **note)
    (said,) = [one for one in assessed(normal).notices if one.startswith("Notes")]
    assert said == "Notes that are not read, 1: Temperature: critical, phoned"
    alone = observation(own("violence_at_home"), valueCodeableConcept={"text": "none"}, **note)
    assert not any("phoned" in one for one in assessed(alone).notices), "told alone, so not on a page"


def test_a_kind_that_is_not_read_is_named_where_it_is_of_the_newborn() -> None:
    given = {"status": "completed", "medicationCodeableConcept": {"text": "x"}, "effectiveDateTime": AT}
    twice = [of_baby("MedicationAdministration", **given) | {"id": number} for number in ("a", "b")]
    other = {"resourceType": "Organization", "id": "c", "name": "Clinic"}
    ours = of_baby("CarePlan", status="draft", intent="proposal") | {"id": "d"}
    ours["meta"] = {"tag": [{"system": f"{OWN_BASE}/CodeSystem/tags", "code": "proposal"}]}
    said = [one for one in assessed(*twice, other, ours).notices if one.startswith("Not read")]
    assert said == ["Not read, of this newborn: MedicationAdministration (2)"]


def test_the_words_of_charts_name_findings_on_which_something_pressing_hangs() -> None:
    pressing = AnswerPlan(StatesPlan(load_pack())).behind_pressing
    rows = finding_words()
    assert len({row.words for row in rows}) == len(rows)
    for row in rows:
        assert {row.finding, row.member or row.finding} <= pressing
        sent = observation({"text": row.words.title()}, valueString="see the chart")
        assert assessed(sent).verdict.unread == 1, row.words


@pytest.mark.parametrize(
    "said",
    [
        {"valueBoolean": False},
        {"valueString": "Denied"},
        {"valueInteger": 0},
        {"valueCodeableConcept": concept(SNOMED, "2667000", "Absent")},
    ],
    ids=lambda said: next(iter(said)),
)
def test_a_sign_that_is_denied_presses_nobody_and_what_is_absent_does(said: dict[str, Any]) -> None:
    assert told(observation({"text": "Seizures"}, **said)) == ((), ())
    assert told(observation({"text": "Femoral pulses"}, valueString="absent"))[0] == (PULSES,)
    assert told(observation({"text": "Femoral pulses"}, valueString="normal")) == ((), ())


@pytest.mark.parametrize("said", ["No fever", "Family history of seizures", "Risk of apnea", "Maternal fever"])
def test_a_sign_of_another_time_or_person_is_told_in_its_own_words(said: str) -> None:
    diagnosis = of_baby("Condition", recordedDate=AT, encounter=VISIT, code={"text": said})
    assert told(diagnosis) == ((), (said,))


def test_a_part_of_a_mood_scale_without_words_is_told_by_its_panel() -> None:
    part = concept(LOINC, "00000-0")
    panel = observation(concept(LOINC, "71354-5"), component=[{"code": part, "valueInteger": 2}])
    assert told(panel) == ((HER_SELF_HARM,), ())
    member = observation(part, id="item", valueInteger=2)
    beside = observation(concept(LOINC, "71354-5"), hasMember=[{"reference": "Observation/item"}])
    assert told(beside, member) == ((HER_SELF_HARM,), ())


def test_a_finding_that_the_code_of_an_answer_states_is_told() -> None:
    seen = observation(concept(SNOMED, "404684003", "Finding"), valueCodeableConcept=concept(SNOMED, "3415004"))
    assert told(seen) == ((COLOUR,), ())


def test_what_is_said_of_the_mother_stands_in_no_plan_that_everybody_reads() -> None:
    mother = {"resourceType": "Patient", "id": "her", "gender": "female", "birthDate": "1994-05-05"}
    hers = of_baby("Condition", recordedDate=AT, code={"text": "something of hers"})
    hers["subject"] = {"reference": "Patient/her"}
    found = answered(mother, hers)
    assert found.assessment.verdict.unknown == ("something of hers",)
    written = [entry["resource"] for entry in found.to_fhir(load_pack())["entry"]]
    (plan,) = [one for one in written if one["resourceType"] == "CarePlan"]
    assert "something of hers" not in str(plan)


def test_words_are_told_before_numbers_of_which_nobody_knows_what_they_are() -> None:
    numbers = [observation(concept("urn:lab", f"X{n}", f"A{n}"), valueInteger=n, id=f"n{n}") for n in (1, 2, 3)]
    verdict = assessed(*numbers, flag("Zebra")).verdict
    assert verdict.unknown == ("Zebra", "A1 1", "A2 2", "A3 3")
    assert "read them: Zebra; A1 1; A2 2; and 1 more" in verdict.text
