"""What stands in each resource that goes out."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from support.assessment_samples import (
    CAUTION,
    REFLEX,
    SamplePack,
    assessment,
    flat_visit,
    reason,
    recommendation,
)

from layette.engine.answer.parts.assessment import Measured
from layette.engine.answer.shapes.detail import Concluded
from layette.engine.answer.shapes.proposed import Used
from layette.engine.api import load_pack
from layette.engine.errors import InputError, InputProblem, PackError, PackProblem, ReaderFailed, ReadersDisagree
from layette.mapping.codes import body_parts
from layette.mapping.read.codes.sides import body_sides
from layette.mapping.write import BASE, to_bundle, to_outcome
from layette.mapping.write.run.context import Parts
from layette.mapping.write.run.readings import readings

BUNDLE = to_bundle(assessment(), SamplePack(), visit=flat_visit())
WHOLE = to_bundle(assessment(), SamplePack(), visit=flat_visit(), parts="all")


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
    assert not observations("Weight loss"), "no proposal rests on it"
    [loss] = observations("Weight loss", WHOLE)
    assert str(loss["valueQuantity"]["value"]) == "7.30"
    assert loss["meta"]["tag"][0]["code"] == "computed"
    assert [link["reference"] for link in loss["derivedFrom"]] == [
        url(o, WHOLE) for o in reversed(observations("Weight", WHOLE))
    ]
    [age] = observations("Age", WHOLE)
    assert age["valueRange"]["low"]["value"] == 97
    [size] = observations("Size at birth", WHOLE)
    assert size["valueCodeableConcept"]["coding"][0]["code"] == "birth_size.p10_to_p50"
    assert not observations("Margin to the line", WHOLE)


def test_a_measure_goes_out_where_a_proposal_cites_it_with_what_it_was_derived_from() -> None:
    """And so does what it rests on: a margin that is computed from a loss that is computed from two weights."""
    loss = Used(subject="weight_loss", label="Weight loss", value="7.3 %", time="2026-11-24T10:00:00-06:00")
    margin = Measured(id="margin", label="Margin", text="0.3 %", low="0.3", high="0.3", unit="%", derived_from=(loss,),
                      basis="")  # fmt: skip
    cited = reason("weight.loss", values=(Used(subject="margin", label="Margin", value="0.3 %"),))
    measures = (*assessment().measures, margin)
    asked = assessment(recommendations=(recommendation(reasons=(cited,)),), measures=measures)
    made = to_bundle(asked, SamplePack(), visit=flat_visit())
    [above], [below] = observations("Margin", made), observations("Weight loss", made)
    assert resources("ServiceRequest", made)[0]["reasonReference"] == [{"reference": url(above, made)}]
    assert above["derivedFrom"] == [{"reference": url(below, made)}]
    assert not observations("Age", made)


CONCLUDED = reason("eyes.any", values=(Used(subject="eye_abnormal", label="An eye is abnormal", value="yes"),))


def test_a_conclusion_is_derived_and_an_open_one_is_not_written() -> None:
    [eye] = observations("An eye is abnormal", WHOLE)
    assert eye["valueBoolean"] is True
    assert eye["derivedFrom"] == [{"reference": url(observations("Red reflex", WHOLE)[0], WHOLE)}]
    assert not observations("Looks ill", WHOLE)


def test_what_was_computed_from_the_mothers_data_is_as_restricted() -> None:
    hers = Used(subject="mother_hbsag", label="Mother's HBsAg", value="negative")
    measure = Measured(id="x", label="X", text="1", low="1", high="1", unit="h", derived_from=(hers,), basis="")
    made = to_bundle(assessment(measures=(measure,)), SamplePack(), visit=flat_visit(), parts="all")
    assert observations("X", made)[0]["meta"]["security"][0]["code"] == "R"


@pytest.mark.parametrize("parts", ["care", "all"])
def test_a_conclusion_that_does_not_hold_is_never_written(parts: Parts) -> None:
    no = Concluded(id="eye_abnormal", label="An eye is abnormal", state="no", rules=("eyes.red-reflex-abnormal",))
    asked = assessment(conclusions=(no,), recommendations=(recommendation(reasons=(CONCLUDED,)),))
    made = to_bundle(asked, SamplePack(), visit=flat_visit(), parts=parts)
    assert not observations("An eye is abnormal", made)
    assert "reasonReference" not in resources("ServiceRequest", made)[0]


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
    [site] = referral["bodySite"]
    assert site["text"] == "left eye"
    assert [(one["system"], one["code"]) for one in site["coding"]] == [(f"{BASE}/CodeSystem/body-sites", "left-eye")]
    [device], [plan] = resources("Device"), resources("CarePlan")
    assert referral["requester"] == {"reference": url(device)}
    assert referral["requisition"] in plan["identifier"]
    assert referral["performerType"]["coding"] == [
        {"system": f"{BASE}/CodeSystem/performers", "code": "ophthalmologist"}
    ]
    assert CAUTION not in [note["text"] for note in referral["note"]]


def test_a_part_of_the_body_with_a_verified_code_goes_out_with_it_and_its_side_is_read_back() -> None:
    hip = Used(subject="barlow.right", label="Barlow, right", value="positive")
    asked = recommendation(side="right", reasons=(reason("hips.barlow", values=(hip,)), reason(values=())))
    made = to_bundle(assessment(recommendations=(asked,)), SamplePack(), visit=flat_visit())
    [site] = resources("ServiceRequest", made)[0]["bodySite"]
    assert [one["code"] for one in site["coding"]] == ["24136001", "right-hip"]
    assert body_sides(site, BASE) == {"right"}


def test_every_finding_with_sides_of_the_pack_has_a_part_of_the_body() -> None:
    sided = {name for name, shape in load_pack().findings.items() if shape.sides}
    assert set(body_parts()) == sided


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
        assessment(measures=(loss.model_copy(update={"time": "age 26 h"}),)), SamplePack(), visit=flat_visit(),
        parts="all",
    )  # fmt: skip
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
        ReadersDisagree({"a": {"r": "fired"}, "b": {"r": "ruled out"}}, "stat", ["See now: fever"]),
        ReaderFailed("rete", "RuntimeError", ["See now: fever"]),
        InputError([]),
    ],
)
def test_an_error_is_an_operation_outcome_with_all_problems(error: Exception) -> None:
    outcome = to_outcome(error)  # type: ignore[arg-type]
    assert outcome["issue"]
    if "fever" in str(getattr(error, "urgent", "")):
        assert outcome["issue"][1]["diagnostics"].endswith("See now: fever")
    if isinstance(error, InputError) and error.problems:
        assert outcome["issue"][0]["expression"] == ["Bundle.entry[3].resource"]
