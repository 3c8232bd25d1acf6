"""What bad input gets from the command: exit code 2, a line with place, value and what would be right, no answer."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.shipped_examples import EXAMPLES

from layette.mapping.cli import main
from layette.mapping.validate import validate

Bundle = dict[str, Any]
UCUM = "http://unitsofmeasure.org"
OWN = "https://layette.example/fhir/CodeSystem/findings"
SCT = "http://snomed.info/sct"


def bundle() -> Bundle:
    found: Bundle = json.loads((EXAMPLES / "healthy-day-4.json").read_bytes())
    return found


def of(given: Bundle, kind: str) -> Bundle:
    return next(e["resource"] for e in given["entry"] if e["resource"]["resourceType"] == kind)


def today(given: Bundle, code: str) -> Bundle:
    """The visit's own Observation of a code."""
    return next(
        e["resource"]
        for e in given["entry"]
        if e["resource"].get("encounter", {}).get("reference") == "Encounter/aster-day4"
        and any(one["code"] == code for one in e["resource"]["code"].get("coding", ()))
    )


def weigh(given: Bundle, **quantity: Any) -> None:
    today(given, "29463-7")["valueQuantity"] = quantity


def weight_at(time: str) -> Callable[[Bundle], None]:
    return lambda given: today(given, "29463-7").update(effectiveDateTime=time)


def red_reflex(*codings: tuple[str, str]) -> Callable[[Bundle], None]:
    concept = {"coding": [{"system": system, "code": code} for system, code in codings]}
    return lambda given: today(given, "red_reflex").update(valueCodeableConcept=concept)


def another_baby(given: Bundle) -> None:
    twin = {"resourceType": "Patient", "id": "twin", "birthDate": "2026-05-04", "gender": "female"}
    given["entry"].append({"fullUrl": "https://ehr.example.org/fhir/Patient/twin", "resource": twin})


def no_birth_date(given: Bundle) -> None:
    del of(given, "Patient")["birthDate"], of(given, "Patient")["_birthDate"]


def ninety_two_days_old(given: Bundle) -> None:
    patient = of(given, "Patient")
    patient["birthDate"] = "2026-02-05"
    patient["_birthDate"]["extension"][0]["valueDateTime"] = "2026-02-05T08:30:00-06:00"


def bilirubin_250(given: Bundle) -> None:
    weight = today(given, "29463-7")
    weight["code"] = {"coding": [{"system": "http://loinc.org", "code": "1975-2"}]}
    weight["valueQuantity"] = {"value": 250, "unit": "mg/dL", "system": UCUM, "code": "mg/dL"}


def kilograms(value: float) -> Callable[[Bundle], None]:
    return lambda given: weigh(given, value=value, unit="kg", system=UCUM, code="kg")


CASES: dict[str, tuple[Callable[[Bundle], None], tuple[str, ...]]] = {
    "two babies": (another_baby, ("Bundle.entry[", "Patient/aster, Patient/twin", "one newborn")),
    "no birth date": (no_birth_date, ("Bundle.entry[0].resource.birthDate", "a date")),
    "before birth": (
        weight_at("2026-05-01T09:00:00-05:00"),
        (".effectiveDateTime", "2026-05-01T09:00:00-05:00", "from birth to the visit"),
    ),
    "after the visit": (
        weight_at("2026-05-08T19:00:00-05:00"),
        (".effectiveDateTime", "2026-05-08T19:00:00-05:00", "from birth to the visit"),
    ),
    "no offset": (
        weight_at("2026-05-08T09:44:00"),
        (".effectiveDateTime", "2026-05-08T09:44:00", "a time with offset"),
    ),
    "34 kg": (kilograms(34), (".valueQuantity", "34 kg", "0.2 to 15 kg")),
    "no unit": (lambda given: weigh(given, value=3.4), (".valueQuantity", "3.4", "kg")),
    "unknown unit": (lambda given: weigh(given, value=3.4, unit="st"), (".valueQuantity", "st", "[lb_av]", "kg")),
    "250 mg/dL": (bilirubin_250, (".valueQuantity", "250 mg/dL", "0 to 80 mg/dL")),
    "no value of the set": (
        red_reflex((OWN, "red_reflex.bright")),
        (".valueCodeableConcept", "red_reflex.bright", "present, dull, dark_spots, absent, white"),
    ),
    "two values at once": (
        red_reflex((OWN, "red_reflex.present"), (OWN, "red_reflex.white")),
        (".valueCodeableConcept", "present, white", "one value"),
    ),
    "present and absent": (
        red_reflex((SCT, "52101004"), (SCT, "2667000")),
        (".valueCodeableConcept", "absent, present", "one value"),
    ),
    "92 days": (ninety_two_days_old, ("born", "92 days old", "0 to 91 days")),
}
OTHER_BYTES = {
    "not JSON": (b'{"resourceType": "Bundle", ', ("line 1",)),
    "no FHIR and no visit": (b'{"color": "blue"}', ("color",)),
    "a list of words": (b'["weight", "length"]', ("expected",)),
    "no Bundle": (
        b'{"resourceType": "Appointment", "status": "booked", "participant": [{"status": "accepted"}]}',
        ("expected", "Patient"),
    ),
    "nothing": (b"", ("input",)),
}

spoilt = pytest.mark.parametrize("case", CASES)


def refused(path: Path, out: Path, capsys: pytest.CaptureFixture[str], form: str = "text") -> list[str]:
    """Assess what has to be refused; returns the problems that were printed."""
    assert main(["assess", str(path), "--to", form, "--out", str(out), "--readers", "native"]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Traceback" not in shown.err
    assert "fault of the program" not in shown.err
    told = [line for line in shown.err.splitlines() if line.startswith("  ")]
    return [line for line in told if not line.startswith("  What the code in [ ] means")]


@pytest.fixture(name="spoil")
def _spoil(tmp_path: Path) -> Callable[[str], Path]:
    def spoil(case: str) -> Path:
        given = bundle()
        CASES[case][0](given)
        path = tmp_path / "visit.json"
        path.write_text(json.dumps(given), encoding="utf-8")
        return path

    return spoil


@spoilt
def test_a_line_says_where_what_and_what_would_be_right(
    case: str, spoil: Callable[[str], Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "answer"
    lines = refused(spoil(case), out, capsys)
    assert any("expected" in line and all(part in line for part in CASES[case][1]) for line in lines), lines
    assert not out.exists()


@spoilt
def test_where_fhir_was_asked_for_the_same_is_an_operation_outcome(
    case: str, spoil: Callable[[str], Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "answer"
    lines = refused(spoil(case), out, capsys, "fhir-json")
    outcome = json.loads(out.read_bytes())
    assert validate(outcome) == []
    assert outcome["resourceType"] == "OperationOutcome"
    assert {issue["severity"] for issue in outcome["issue"]} == {"error"}
    lines = [line for line in lines if not line.endswith("schemas/errors.md")]
    assert len(outcome["issue"]) == len(lines)
    assert [line for line in lines if line.partition(": ")[0].strip() not in json.dumps(outcome)] == []


@pytest.mark.parametrize("case", OTHER_BYTES)
def test_what_is_no_visit_at_all(case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    content, parts = OTHER_BYTES[case]
    path, out = tmp_path / "visit.json", tmp_path / "answer"
    path.write_bytes(content)
    lines = "\n".join(refused(path, out, capsys))
    assert [part for part in parts if part not in lines] == []
    assert not out.exists()


def test_every_mistake_is_told_at_once_and_an_answer_that_was_there_stays(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given, path, out = bundle(), tmp_path / "visit.json", tmp_path / "answer"
    kilograms(34)(given)
    red_reflex((OWN, "red_reflex.bright"))(given)
    path.write_text(json.dumps(given), encoding="utf-8")
    out.write_text("an earlier answer", encoding="utf-8")
    told = "\n".join(refused(path, out, capsys))
    assert [value for value in ("34 kg", "red_reflex.bright") if value not in told] == []
    assert out.read_text(encoding="utf-8") == "an earlier answer"


def test_a_mother_beside_the_baby_is_fine(tmp_path: Path) -> None:
    given, path, out = bundle(), tmp_path / "visit.json", tmp_path / "answer"
    mother = {
        "resourceType": "Patient",
        "id": "acacia",
        "identifier": [{"system": "https://clinic.example.org/id/person", "value": "EX-1001"}],
        "gender": "female",
        "birthDate": "1997-03-02",
    }
    given["entry"].append({"fullUrl": "https://ehr.example.org/fhir/Patient/acacia", "resource": mother})
    path.write_text(json.dumps(given), encoding="utf-8")
    assert main(["assess", str(path), "--out", str(out), "--readers", "native"]) == 0
    assert out.read_text(encoding="utf-8").startswith("Patient/aster,")


def test_a_mistake_hides_no_emergency(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    given, path = bundle(), tmp_path / "visit.json"
    kilograms(34)(given)
    red_reflex((OWN, "red_reflex.white"))(given)
    path.write_text(json.dumps(given), encoding="utf-8")
    assert main(["assess", str(path), "--readers", "native"]) == 2
    told = capsys.readouterr().err
    assert "34 kg" in told
    assert "eyes.red-reflex-abnormal" in told
