"""Diagnoses, vaccines, the visit summary, and words in other languages."""

from __future__ import annotations

import base64
from typing import Any

from support.assessment_samples import AT, CAUTION, SamplePack, assessment, flat_visit, reason, recommendation, topic

from layette.engine.answer.shapes.proposed import Code, Diagnosis, Due, Window
from layette.engine.api import load_pack
from layette.mapping import codes
from layette.mapping.text import render
from layette.mapping.validate import validate
from layette.mapping.write import to_bundle
from layette.mapping.write.run.context import Parts

JAUNDICE = Diagnosis(label="Neonatal jaundice", codes=(Code(system="icd10cm", code="P59.9"),))
UNREAD = Diagnosis(label="Something", codes=(Code(system="icd10cm", code="Z99.99"),))


def made(kind: str, parts: Parts = "care", **changes: Any) -> list[dict[str, Any]]:
    bundle = to_bundle(assessment(**changes), SamplePack(), visit=flat_visit(), parts=parts)
    assert [str(issue) for issue in validate(bundle)] == []
    return [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind]


def proposing(diagnosis: Diagnosis | None, status: str = "fired", **changes: Any) -> Any:
    return recommendation(reasons=(reason(diagnosis=diagnosis, status=status),), **changes)


def test_a_diagnosis_is_proposed_once_with_its_evidence_and_never_confirmed() -> None:
    two = (proposing(JAUNDICE), proposing(JAUNDICE, answer_key="other", target="other"))
    [condition] = made("Condition", recommendations=two)
    assert condition["verificationStatus"]["coding"][0]["code"] == "unconfirmed"
    assert condition["category"][0]["coding"][0]["code"] == "encounter-diagnosis"
    assert [one["code"] for one in condition["code"]["coding"]] == ["P59.9"]
    assert condition["bodySite"][0]["text"] == "left eye"
    assert condition["evidence"][0]["detail"]
    assert condition["meta"]["tag"][0]["code"] == "computed"
    assert condition["note"][0]["text"].startswith("Proposed, not confirmed. ")
    assert CAUTION not in [note["text"] for note in condition["note"]]


def test_a_provisional_reason_makes_a_provisional_diagnosis() -> None:
    [condition] = made("Condition", recommendations=(proposing(JAUNDICE, "provisional"),))
    assert condition["verificationStatus"]["coding"][0]["code"] == "provisional"


def test_an_unverified_code_of_a_diagnosis_stays_at_home() -> None:
    [condition] = made("Condition", recommendations=(proposing(UNREAD),))
    assert condition["code"] == {"text": "Something"}


def test_the_mothers_diagnosis_is_not_written_into_the_newborns_record() -> None:
    assert made("Condition", recommendations=(proposing(JAUNDICE, subject="mother"),)) == []
    responses = made("GuidanceResponse", recommendations=(proposing(JAUNDICE, subject="mother"),))
    assert any("it is the mother's: Neonatal jaundice" in n["text"] for r in responses for n in r["note"])


def test_every_diagnosis_of_the_pack_has_only_verified_codes() -> None:
    shapes = [instance.rule.shape.diagnosis for instance in load_pack().instances]
    listed = [(s, c) for one in shapes if one for s, c in one.codes.items()]
    assert len(listed) > 30
    assert [pair for pair in listed if not codes.is_verified(pair[0], str(pair[1]))] == []


VACCINE = recommendation(
    target="hepatitis_b_dose", kind="order", label="Hepatitis B vaccine, first dose", side=None, priority="routine",
    category="immunization", codes=(Code(system="http://hl7.org/fhir/sid/cvx", code="08"),), performer=None,
    window=Window(start=AT, until="2026-11-26T10:00:00-06:00", text="in 2 days"), plain={},
)  # fmt: skip


def test_a_vaccine_that_is_due_is_forecast_with_its_dates() -> None:
    [forecast] = made("ImmunizationRecommendation", recommendations=(VACCINE,))
    [entry] = forecast["recommendation"]
    assert [one["code"] for one in entry["vaccineCode"][0]["coding"]] == ["08", "hepatitis_b_dose"]
    assert entry["forecastStatus"]["coding"][0]["code"] == "due"
    assert [(one["code"]["coding"][0]["code"], one["value"]) for one in entry["dateCriterion"]] == [
        ("30981-5", AT), ("30980-7", "2026-11-26T10:00:00-06:00"),
    ]  # fmt: skip
    assert len(made("ServiceRequest", recommendations=(VACCINE,), avoid=())) == 1


def test_a_dose_that_a_rule_waits_for_has_its_own_words_and_state() -> None:
    window = Window(until="2026-11-22T10:00:00-06:00", text="by two days", overdue=True)
    dose = Due(finding="weight", target="hepatitis_b_dose", kind="order", said_not_done=True, label="x",
               rule="eyes.red-reflex-abnormal", window=window, state="overdue",
               priority="routine", because="y", sources=())  # fmt: skip
    [forecast] = made("ImmunizationRecommendation", recommendations=(VACCINE,), due=(dose,))
    [entry] = forecast["recommendation"]
    assert entry["vaccineCode"][0]["text"] == "Weight"
    assert entry["forecastStatus"]["text"] == "overdue"


def test_no_vaccine_due_means_no_forecast() -> None:
    assert made("ImmunizationRecommendation") == []


def test_the_summary_is_the_page_of_text_and_restricted_where_it_tells_of_the_mother() -> None:
    assert made("DocumentReference") == []
    [document] = made("DocumentReference", "all")
    page = base64.b64decode(document["content"][0]["attachment"]["data"]).decode("utf-8")
    assert page == render(assessment(), full=True, awaited=["serum_bilirubin", "pulse_oximetry"])
    assert document["type"]["coding"][0]["code"] == "34117-2"
    assert document["meta"]["security"][0]["code"] == "R"
    assert document["context"]["encounter"] == [{"reference": "Encounter/1"}]


def test_words_in_another_language_stand_beside_the_english_with_their_mark() -> None:
    spanish = "Siempre boca arriba. [needed: review]"
    words = {"en": "On the back.", "es": spanish}
    guidance = (topic("safe_sleep", "Safe sleep", plain=words),)
    both, alone = made("CommunicationRequest", "all", guidance=guidance, reassurance=())
    [payload] = alone["payload"]
    assert [list(one) for one in both["payload"]] == [["id", "extension", "contentString"]]
    [translation] = payload["_contentString"]["extension"]
    assert payload["contentString"] == "On the back."
    assert translation["extension"] == [{"url": "lang", "valueCode": "es"}, {"url": "content", "valueString": spanish}]


def test_guidance_that_was_given_is_never_written_again() -> None:
    given = {"topic": "safe_sleep", "time": "2026-11-22T09:00:00-06:00", "reference": "Communication/3"}
    bundle = to_bundle(assessment(), SamplePack(), visit=flat_visit(history={"guidance": [given]}))
    assert "Communication" not in {entry["resource"]["resourceType"] for entry in bundle["entry"]}
