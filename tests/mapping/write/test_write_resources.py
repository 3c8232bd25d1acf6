"""What stands in each resource that goes out."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from support.assessment_samples import CAUTION, REFLEX, SamplePack, assessment, flat_visit, reason, recommendation

from layette.engine.errors import InputError, InputProblem, PackError, PackProblem, ReadersDisagree
from layette.mapping.write import BASE, to_bundle, to_outcome
from layette.mapping.write.words.readings import readings

BUNDLE = to_bundle(assessment(), SamplePack(), visit=flat_visit())


def resources(kind: str, bundle: dict[str, Any] = BUNDLE) -> list[dict[str, Any]]:
    return [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind]


def observations(text: str, bundle: dict[str, Any] = BUNDLE) -> list[dict[str, Any]]:
    return [one for one in resources("Observation", bundle) if one["code"]["text"] == text]


def url(resource: dict[str, Any], bundle: dict[str, Any] = BUNDLE) -> str:
    return next(e["fullUrl"] for e in bundle["entry"] if e["resource"] is resource)


def test_a_value_keeps_its_digits_its_unit_and_its_own_time() -> None:
    fever = next(o for o in observations("Temperature") if "tag" in o["meta"])
    assert str(fever["valueQuantity"]["value"]) == "38.40"
    assert fever["valueQuantity"]["code"] == "Cel"
    assert fever["effectiveDateTime"] == "2026-11-24T02:30:00-06:00"
    assert fever["meta"]["profile"] == ["http://hl7.org/fhir/StructureDefinition/bodytemp"]
    assert fever["category"][0]["coding"][0]["code"] == "vital-signs"


def test_a_side_is_a_verified_body_site_and_not_examined_is_never_normal() -> None:
    left, right = observations("Red reflex")
    assert left["bodySite"]["coding"][0] | {"display": ""} == {
        "system": "http://snomed.info/sct", "code": "7771000", "display": "",
    }  # fmt: skip
    assert left["valueCodeableConcept"]["coding"][-1]["code"] == "red_reflex.absent"
    assert right["dataAbsentReason"]["coding"][0]["code"] == "not-performed"
    assert not any(key.startswith("value") for key in right)


def test_a_bound_stays_a_bound() -> None:
    [bilirubin] = observations("Serum bilirubin")
    assert bilirubin["valueQuantity"]["comparator"] == ">"
    assert bilirubin["valueQuantity"]["value"] == Decimal(20)


def test_parts_are_components_with_their_codes() -> None:
    [oximetry] = observations("Pulse oximetry")
    found = {part["code"]["coding"][0]["code"]: part["valueQuantity"]["value"] for part in oximetry["component"]}
    assert found == {"59407-7": Decimal(97), "59418-4": Decimal(96)}


def test_the_mothers_data_has_a_focus_and_a_label() -> None:
    [hers] = observations("Mother's HBsAg")
    assert hers["focus"] == [{"display": "mother of the newborn"}]
    assert hers["meta"]["security"][0]["code"] == "R"
    assert hers["subject"] == {"reference": "Patient/mara"}


def test_a_code_that_nobody_verified_stays_at_home() -> None:
    pack = SamplePack()
    pack.findings["weight"] = pack.findings["weight"].model_copy(update={"codes": {"loinc": "1-8"}})
    made = to_bundle(assessment(), pack, visit=flat_visit())
    systems = {c["system"] for o in observations("Weight", made) for c in o["code"]["coding"]}
    assert systems == {f"{BASE}/CodeSystem/findings"}


def test_measures_carry_the_digits_they_deserve_and_what_they_rest_on() -> None:
    [loss] = observations("Weight loss")
    assert str(loss["valueQuantity"]["value"]) == "7.30"
    assert loss["meta"]["tag"][0]["code"] == "computed"
    assert [link["reference"] for link in loss["derivedFrom"]] == [url(o) for o in reversed(observations("Weight"))]
    [age] = observations("Age")
    assert age["valueRange"]["low"]["value"] == 97
    [size] = observations("Size at birth")
    assert size["valueCodeableConcept"]["coding"][0]["code"] == "birth_size.p10_to_p50"
    assert not observations("Margin to the line")


def test_a_conclusion_is_derived_and_an_open_one_is_not_written() -> None:
    [eye] = observations("An eye is abnormal")
    assert eye["valueBoolean"] is True
    assert eye["derivedFrom"] == [{"reference": url(observations("Red reflex")[0])}]
    assert not observations("Looks ill")


def test_a_referral_says_what_why_when_and_from_where() -> None:
    referral = resources("ServiceRequest")[0]
    assert (referral["status"], referral["intent"], referral["priority"]) == ("draft", "proposal", "stat")
    assert referral["code"]["coding"][-1] | {"display": ""} == {
        "system": f"{BASE}/CodeSystem/targets", "code": "ophthalmology", "display": "",
    }  # fmt: skip
    assert referral["instantiatesCanonical"] == [f"{BASE}/PlanDefinition/newborn|0.1.0#eyes.red-reflex-abnormal"]
    assert referral["occurrencePeriod"] == {"end": "2026-11-25T10:00:00-06:00"}
    assert referral["reasonCode"] == [{"text": "An abnormal reflex can be a cataract or a tumour of the eye."}]
    assert referral["reasonReference"] == [{"reference": url(observations("Red reflex")[0])}]
    assert referral["bodySite"][0]["text"] == "left"
    assert "requester" not in referral
    assert [note["text"] for note in referral["note"]][-1] == CAUTION


def test_a_provisional_proposal_names_what_would_replace_it_and_marks_what_is_from_memory() -> None:
    recheck = next(r for r in resources("ServiceRequest") if r["code"]["text"] == "Weigh again")
    text = " ".join(note["text"] for note in recheck["note"])
    assert "This holds unless recorded: Delivery by caesarean." in text
    assert "[from memory]" in text
    assert "certain whatever is still open: none" in text


def test_what_must_not_be_done_says_so() -> None:
    [avoid] = [r for r in resources("ServiceRequest") if r.get("doNotPerform")]
    assert avoid["code"]["text"] == "No pacifier yet"


def test_a_period_never_ends_before_it_begins() -> None:
    late = recommendation().window.model_copy(update={"start": "2026-11-26T10:00:00-06:00", "overdue": True})
    made = to_bundle(assessment(recommendations=(recommendation(window=late),)), SamplePack(), visit=flat_visit())
    assert resources("ServiceRequest", made)[0]["occurrencePeriod"] == {"end": "2026-11-25T10:00:00-06:00"}


def test_the_mothers_requests_carry_the_label() -> None:
    made = to_bundle(assessment(recommendations=(recommendation(subject="mother"),)), SamplePack(), visit=flat_visit())
    assert resources("ServiceRequest", made)[0]["meta"]["security"][0]["code"] == "R"


def test_guidance_and_reassurance_are_communication_requests_in_words_for_the_family() -> None:
    texts = [r["payload"][0]["contentString"] for r in resources("CommunicationRequest")]
    assert texts == [
        f"{name}, in words for the family." for name in ("Safe sleep", "Car seat", "White spots on the nose")
    ]


def test_what_is_open_is_asked_for_step_by_step() -> None:
    step, due, run = resources("GuidanceResponse")
    assert [r["status"] for r in (step, due, run)] == ["data-required"] * 3
    [asked] = step["dataRequirement"]
    assert [f["path"] for f in asked["codeFilter"]] == ["code", "bodySite"]
    assert due["dataRequirement"][0]["dateFilter"][0]["valuePeriod"]["end"] == "2026-11-22T08:30:00-06:00"
    said = [issue["diagnostics"] for issue in run["contained"][0]["issue"]]
    assert any("threshold table is not supplied" in text for text in said)
    assert any("kept, not understood" in text for text in said)


def test_a_run_with_nothing_open_is_a_success() -> None:
    made = to_bundle(assessment(steps=(), due=()), SamplePack(), visit=flat_visit())
    assert [r["status"] for r in resources("GuidanceResponse", made)] == ["success"]


def test_a_birth_date_without_a_time_makes_a_period_of_an_age() -> None:
    [oximetry] = [
        g for g in readings(flat_visit(born="2026-11-20"), "2026-11-24T10:00:00-06:00") if g.further.get("hand")
    ]
    assert (oximetry.start, oximetry.end) == ("2026-11-21T02:00:00-06:00", "2026-11-22T01:59:59-06:00")


def test_a_value_that_names_no_side_points_to_the_reading_that_says_it() -> None:
    visit = flat_visit(findings={"red_reflex.left": "absent", "red_reflex.right": "present"})
    bare = REFLEX.model_copy(update={"subject": "red_reflex", "label": "Red reflex"})
    made = to_bundle(
        assessment(recommendations=(recommendation(reasons=(reason(values=(bare,)),)),)), SamplePack(), visit=visit
    )
    [left, _] = observations("Red reflex", made)
    assert resources("ServiceRequest", made)[0]["reasonReference"] == [{"reference": url(left, made)}]


def test_a_measure_of_a_time_given_as_an_age_has_that_time() -> None:
    [loss, *_] = assessment().measures
    made = to_bundle(
        assessment(measures=(loss.model_copy(update={"time": "age 26 h"}),)), SamplePack(), visit=flat_visit()
    )
    assert observations("Weight loss", made)[0]["effectiveDateTime"] == "2026-11-21T10:30:00-06:00"


def test_control_characters_of_an_input_do_not_reach_the_output() -> None:
    made = to_bundle(assessment(warnings=("a\x00b",)), SamplePack(), visit=flat_visit())
    issues = resources("GuidanceResponse", made)[-1]["contained"][0]["issue"]
    assert issues[0]["diagnostics"] == "a\N{REPLACEMENT CHARACTER}b"


@pytest.mark.parametrize(
    "error",
    [
        InputError([InputProblem("Bundle.entry[3].resource", "unit", "no unit", "3.4", "kg or g")], ["See now: fever"]),
        PackError([PackProblem("rules/x.yaml", 3, "$.a", "shape", "a key is missing")]),
        ReadersDisagree({"a": {"r": "fired"}, "b": {"r": "ruled out"}}, "stat"),
        InputError([]),
    ],
)
def test_an_error_is_an_operation_outcome_with_all_problems(error: Exception) -> None:
    outcome = to_outcome(error)  # type: ignore[arg-type]
    assert outcome["issue"]
    if "fever" in str(getattr(error, "urgent", "")):
        assert outcome["issue"][0]["expression"] == ["Bundle.entry[3].resource"]
        assert outcome["issue"][1]["diagnostics"].endswith("See now: fever")
