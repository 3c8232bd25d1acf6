"""What real systems send, through the pack that ships and the command: nothing lost, all accounted for."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from support.checkout import ROOT
from support.read_samples import (
    AT,
    LOINC,
    SNOMED,
    adds_up,
    bundle,
    concept,
    encounter,
    loinc,
    newborn_pack,
    observation,
    own,
    patient,
    visit_bundle,
)

from layette.engine.api import Pack, load_pack
from layette.mapping.answering import answer
from layette.mapping.cli import main
from layette.mapping.cli.verbs import assess
from layette.mapping.fhir.json import dumps
from layette.mapping.read import ReadResult, read

DEFECTS = json.loads((ROOT / "tests/support/defects/planted_defects.json").read_text(encoding="utf-8"))
BODY_WEIGHT = loinc("29463-7")
FLAGS = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"


def printed(value: str, unit: str) -> dict[str, Any]:
    """A Quantity without a UCUM code, as people print it."""
    return {"value": Decimal(value), "unit": unit}


def taken(*resources: dict[str, Any]) -> ReadResult:
    result = read(visit_bundle(*resources), newborn_pack())
    adds_up(result)
    return result


def one(finding: str, *resources: dict[str, Any]) -> dict[str, Any]:
    result = taken(*resources)
    assert not result.problems
    assert not result.not_understood
    [reading] = result.visit["findings"][finding]
    return reading


def pounds(*codes: dict[str, Any]) -> dict[str, Any]:
    amounts = (printed("7", "lb"), printed("4", "oz"))
    pairs = zip(codes, amounts, strict=True)
    return observation(BODY_WEIGHT, component=[{"code": code, "valueQuantity": amount} for code, amount in pairs])


@pytest.mark.parametrize("codes", [({"text": "lb"}, {"text": "oz"}), (BODY_WEIGHT, BODY_WEIGHT)])
def test_pounds_and_ounces_as_components(codes: tuple[dict[str, Any], ...]) -> None:
    reading = one("weight", pounds(*codes))
    assert (reading["value"], reading["unit"]) == ("116", "[oz_av]")


def test_pounds_without_their_ounces_are_no_weight() -> None:
    parts = [
        {"code": {"text": "lb"}, "valueQuantity": printed("7", "lb")},
        {"code": {"text": "oz"}, "valueString": "four"},
    ]
    result = taken(observation(BODY_WEIGHT, component=parts))
    assert "weight" not in result.visit["findings"]
    assert [(kept["text"], kept["finding"]) for kept in result.not_understood] == [
        ("lb 7 lb", "weight"), ("oz four", "weight")
    ]  # fmt: skip
    assert result.counts.not_understood == 1


@pytest.mark.parametrize("text", ["about 7 lb 4 oz", "7lb4oz or so", "3150", "about 3 kg"])
def test_a_number_in_a_text_is_kept_and_reported(text: str) -> None:
    result = taken(observation(BODY_WEIGHT, valueString=text))
    [kept] = result.not_understood
    assert kept == {
        "path": "Bundle.entry[2].resource.valueString",
        "code": f"{LOINC}|29463-7",
        "text": text,
        "why": "no number that can be read",
        "finding": "weight",
    }
    assert result.counts.not_understood == 1


@pytest.mark.parametrize(
    ("code", "finding", "value", "unit", "ucum"),
    [
        ("8310-5", "temperature", "101.3", "°F", "[degF]"),
        ("8310-5", "temperature", "38.5", "degrees C", "Cel"),
        ("8302-2", "length", "20", '"', "[in_i]"),
        ("9843-4", "head_circumference", "13.5", "inches", "[in_i]"),
        ("29463-7", "weight", "3.15", "kilograms", "kg"),
        ("1975-2", "serum_bilirubin", "205", "µmol/L", "umol/L"),
        ("1975-2", "serum_bilirubin", "205", "μmol/l", "umol/L"),
        ("8867-4", "heart_rate", "140", "bpm", "/min"),
    ],
)
def test_units_as_people_print_them(code: str, finding: str, value: str, unit: str, ucum: str) -> None:
    reading = one(finding, observation(loinc(code), valueQuantity=printed(value, unit)))
    assert (reading["value"], reading["unit"], reading["given"]) == (value, ucum, f"{value} {unit}")


def test_a_unit_that_nobody_knows_is_an_error() -> None:
    [problem] = taken(observation(BODY_WEIGHT, valueQuantity=printed("7", "stone"))).problems
    assert (problem.code, problem.value) == ("unit", "stone")


def test_oximetry_as_components_and_as_separate_observations() -> None:
    hand = {"code": loinc("59407-7"), "valueQuantity": printed("97", "%")}
    foot = {"code": loinc("59418-4"), "valueQuantity": printed("95", "%")}
    joined = one("pulse_oximetry", observation({"text": "screen"}, component=[hand, foot]))
    assert (joined["hand"], joined["foot"]) == ("97", "95")
    apart = taken(observation(**hand), observation(**foot, id="o2"))
    assert not apart.problems
    assert [reading.get("hand", reading.get("foot")) for reading in apart.visit["findings"]["pulse_oximetry"]] == [
        "97",
        "95",
    ]


def test_separate_and_joined_oximetry_decide_alike() -> None:
    hand = {"code": loinc("59407-7"), "valueQuantity": printed("97", "%")}
    foot = {"code": loinc("59418-4"), "valueQuantity": printed("84", "%")}
    answers = [
        [(answer.target, answer.side, answer.certain) for answer in ship().assess(result.visit).answers]
        for result in (
            taken(observation({"text": "screen"}, component=[hand, foot])),
            taken(observation(**hand), observation(**foot, id="o2")),
        )
    ]
    assert answers[0] == answers[1]


@pytest.mark.parametrize(
    ("flag", "value"),
    [
        ({"coding": [{"system": FLAGS, "code": "A"}]}, "abnormal"),
        ({"coding": [{"system": FLAGS, "code": "N", "display": "Normal"}]}, "present"),
    ],
)
def test_an_interpretation_alone(flag: dict[str, Any], value: str) -> None:
    assert one("red_reflex", observation(own("red_reflex.left"), interpretation=[flag]))["value"] == value


def test_an_interpretation_in_words_is_kept_with_its_words() -> None:
    [kept] = taken(observation(own("red_reflex.left"), interpretation=[{"text": "Not right"}])).not_understood
    assert kept["text"] == "Not right"


def test_a_text_that_is_no_value_is_kept_with_its_words() -> None:
    result = taken(observation(own("red_reflex.left"), valueString="a bit dull, perhaps"))
    assert [kept["text"] for kept in result.not_understood] == ["a bit dull, perhaps"]
    assert "red_reflex" not in result.visit["findings"]


@pytest.mark.parametrize(
    ("site", "side"),
    [
        (concept(SNOMED, "7771000"), "left"),
        (concept(SNOMED, "24028007"), "right"),
        ({"text": "Left eye"}, "left"),
        ({"coding": [{"system": SNOMED, "code": "8966001", "display": "Left eye"}]}, "left"),
    ],
)
def test_the_side_by_the_body_site(site: dict[str, Any], side: str) -> None:
    given = observation(own("red_reflex"), valueCodeableConcept={"text": "dull"}, bodySite=site)
    assert one("red_reflex", given)["side"] == side


@pytest.mark.parametrize(
    "time",
    ["2026-11-24T16:10:00Z", "2026-11-24T17:10:00+01:00", "2026-11-25T01:40:00+09:30", "2026-11-24T10:10:00.125-06:00"],
)
def test_times_of_any_offset_are_of_this_visit(time: str) -> None:
    given = observation(BODY_WEIGHT, valueQuantity=printed("3150", "g"), effectiveDateTime=time, encounter=None)
    assert one("weight", given)["time"] == time


def report(**more: Any) -> dict[str, Any]:
    inside = {"resourceType": "Observation", "id": "b", "status": "final", "code": loinc("1975-2")}
    return {
        "resourceType": "DiagnosticReport",
        "id": "lab",
        "status": "final",
        "code": {"text": "Bilirubin"},
        "subject": {"reference": "Patient/mara"},
        "encounter": {"reference": "Encounter/visit"},
        "effectiveDateTime": AT,
        "contained": [inside | {"valueQuantity": printed("17", "mg/dL")}],
        "result": [{"reference": "#b"}],
        **more,
    }


def test_the_results_inside_a_report_are_read() -> None:
    reading = one("serum_bilirubin", report())
    assert (reading["value"], reading["time"]) == ("17", AT)
    assert reading["path"] == "Bundle.entry[2].resource.contained[0].valueQuantity"


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"status": "entered-in-error"}, "a report that was withdrawn"),
        ({"contained": [], "result": [{"reference": "Observation/o9"}]}, "a report; its results are read by them"),
    ],
)
def test_a_report_without_results_inside_and_a_withdrawn_one(change: dict[str, Any], why: str) -> None:
    result = taken(report(**change))
    assert result.visit["findings"] == {}
    assert result.not_used[0].why.startswith(why)


def test_a_page_that_was_left_out_is_said() -> None:
    last = bundle(observation(BODY_WEIGHT, valueQuantity=printed("3150", "g")), kind="searchset")
    first = bundle(patient(), encounter(), kind="searchset")
    first["link"] = [{"relation": "next", "url": "https://server.example/fhir?page=2"}]
    assert "announces a next page" in read(first, newborn_pack()).notices[0]
    both = read([first, last], newborn_pack())
    assert both.notices == ()
    assert both.visit["findings"]["weight"][0]["path"] == "[1].Bundle.entry[0].resource.valueQuantity"


@cache
def ship() -> Pack:
    return load_pack()


@dataclass
class Ran:
    """What a run of `layette assess` gave."""

    code: int
    out: str
    err: str

    @property
    def counts(self) -> tuple[int, ...]:
        """Entries read, used, not understood, not used, refused: they must add up."""
        [line] = re.findall(r"(\d+) entries read: (\d+) used, (\d+) kept.*?, (\d+) not used, (\d+) refused\.", self.err)
        found = tuple(map(int, line))
        assert found[0] == sum(found[1:])
        return found


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[[Any], Ran]:
    monkeypatch.setattr(assess, "load_pack", lambda path=None, site=None: ship())

    def ran(content: Any) -> Ran:
        path = tmp_path / "input"
        path.write_text(content if isinstance(content, str) else dumps(content), encoding="utf-8")
        return Ran(main(["assess", str(path), "--to", "fhir-json"]), *capsys.readouterr())

    return ran


def beside_a_newborn(resource: dict[str, Any]) -> dict[str, Any]:
    """Wrap a single resource into a Bundle with the newborn that it speaks of."""
    if resource["resourceType"] == "Bundle":
        return resource
    newborn = {"resourceType": "Patient", "id": "p1", "birthDate": "2026-01-02", "gender": "female"}
    several = [newborn, resource] if resource["resourceType"] != "Patient" else [resource]
    server = "https://server.example/fhir"
    entries = [{"fullUrl": f"{server}/{one['resourceType']}/{one.get('id', 'x')}", "resource": one} for one in several]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}


NEEDED_BY_NOBODY = ("b13", "b21", "b32")
"""An order for what no pack knows, a narrative (which is never read), and a Task: what is wrong there is named only."""


@pytest.mark.parametrize("name", NEEDED_BY_NOBODY)
def test_a_planted_defect_that_nothing_needs_is_named(name: str) -> None:
    notices = answer(beside_a_newborn(DEFECTS[name]["resource"]), ship(), at="2026-01-06T14:30:00Z").account.notices
    [said] = [notice for notice in notices if notice.endswith("nothing that is used needs it")]
    assert said.startswith("Bundle.entry[1].resource.")


STOPPING = [name for name in DEFECTS if DEFECTS[name]["defect"] != "good" and name not in NEEDED_BY_NOBODY]


@pytest.mark.parametrize("name", STOPPING)
def test_each_planted_defect_stops_the_run_with_its_path(name: str, run: Callable[[Any], Ran]) -> None:
    content = beside_a_newborn(DEFECTS[name]["resource"])
    ran = run(content)
    assert ran.code == 2
    assert re.search(r"^  Bundle\.(type|entry\[\d\])\S*: .*\[invalid-fhir\]$", ran.err, re.M)
    assert ran.counts[0] == len(content["entry"])
    assert ran.counts[4] >= 1 or DEFECTS[name]["defect"].startswith("Bundle.type")
    outcome = json.loads(ran.out)
    assert outcome["resourceType"] == "OperationOutcome"
    assert {issue["severity"] for issue in outcome["issue"]} <= {"error", "information", "warning"}


@pytest.mark.parametrize("name", ["g1_obs", "g4_bundle", "g5_bodyweight"])
def test_the_good_cases_run(name: str, run: Callable[[Any], Ran]) -> None:
    ran = run(beside_a_newborn(DEFECTS[name]["resource"]))
    assert (ran.code, ran.counts[4]) == (0, 0)


def test_a_mistake_that_only_the_engine_sees_is_counted_too(run: Callable[[Any], Ran]) -> None:
    heavy = observation(BODY_WEIGHT, valueQuantity=printed("315", "kg"))
    ran = run(visit_bundle(heavy, observation(own("murmur"), id="o2", valueCodeableConcept={"text": "heard"})))
    assert "Bundle.entry[2].resource.valueQuantity: not physically possible" in ran.err
    assert (ran.code, ran.counts) == (2, (4, 3, 0, 0, 1))


def test_a_missing_moment_is_said_once_and_at_its_place(run: Callable[[Any], Ran]) -> None:
    ran = run(bundle(patient(), encounter(period=None) | {"period": {}}))
    assert ran.err.count("the moment of the visit") == 1


def test_problems_of_pages_name_their_page(run: Callable[[Any], Ran]) -> None:
    wrong = observation(BODY_WEIGHT, valueQuantity=printed("3150", "g"), status="done")
    ran = run([bundle(patient(), encounter()), bundle(wrong), wrong | {"id": "o2"}])
    assert "  [1].Bundle.entry[0].resource.status: " in ran.err
    assert "  [2].status: " in ran.err
    assert ran.counts == (4, 2, 0, 0, 2)


@pytest.mark.parametrize("kind", ["collection", "searchset", "document", "message"])
def test_the_types_of_bundle_through_the_command(kind: str, run: Callable[[Any], Ran]) -> None:
    head = {
        "document": {
            "resourceType": "Composition",
            "id": "c",
            "status": "final",
            "type": {"text": "Visit"},
            "date": AT,
            "author": [{"display": "The office"}],
            "title": "Visit",
        },
        "message": {
            "resourceType": "MessageHeader",
            "id": "m",
            "eventUri": "https://server.example/visit",
            "source": {"endpoint": "https://server.example"},
        },
    }
    weighed = observation(BODY_WEIGHT, valueQuantity=printed("3150", "g"))
    resources = [*([head[kind]] if kind in head else []), patient(), encounter(), weighed]
    content = bundle(*resources, kind=kind)
    for entry in content["entry"]:
        entry["fullUrl"] = f"https://server.example/fhir/{entry['resource']['resourceType']}/{entry['resource']['id']}"
    if kind == "document":
        content |= {"identifier": {"system": "urn:ietf:rfc:3986", "value": "urn:uuid:1"}, "timestamp": AT}
    ran = run(content)
    assert (ran.code, ran.err.count("invalid-fhir")) == (0, 0)
    assert ran.counts == (len(resources), 3, 0, len(resources) - 3, 0)


@pytest.mark.parametrize("kind", ["relative", "absolute", "urn"])
def test_references_of_any_kind_give_valid_output(kind: str, run: Callable[[Any], Ran]) -> None:
    names = {
        "relative": ("Patient/mara", "Encounter/visit"),
        "absolute": ("https://server.example/fhir/Patient/mara", "https://server.example/fhir/Encounter/visit"),
        "urn": (f"urn:uuid:{'1' * 8}-1111-4111-8111-{'1' * 12}", f"urn:uuid:{'2' * 8}-2222-4222-8222-{'2' * 12}"),
    }[kind]
    weighed = observation(
        BODY_WEIGHT,
        valueQuantity=printed("2700", "g"),
        subject={"reference": names[0]},
        encounter={"reference": names[1]},
    )
    content = bundle(patient(), encounter(subject={"reference": names[0]}), weighed)
    for entry, name in zip(content["entry"], names, strict=False):
        entry["fullUrl"] = name if kind != "relative" else f"https://server.example/fhir/{name}"
    ran = run(content)
    assert (ran.code, ran.counts) == (0, (3, 3, 0, 0, 0))


def test_a_visit_without_encounter_and_a_report_with_results_inside(run: Callable[[Any], Ran]) -> None:
    ran = run(bundle(patient(), report(encounter=None) | {"encounter": {"reference": "Encounter/elsewhere"}}))
    assert (ran.code, ran.counts) == (0, (2, 2, 0, 0, 0))
    assert "DiagnosticReport/lab" in ran.out


def test_answers_to_the_exam_through_the_command(run: Callable[[Any], Ran]) -> None:
    answers = {
        "resourceType": "QuestionnaireResponse",
        "id": "exam",
        "status": "completed",
        "questionnaire": "https://layette.example/fhir/Questionnaire/newborn-exam",
        "subject": {"reference": "Patient/mara"},
        "authored": AT,
        "item": [
            {
                "linkId": "red_reflex.left",
                "answer": [
                    {"valueCoding": {"system": "https://layette.example/fhir/CodeSystem/findings", "code": "white"}}
                ],
            }
        ],
    }
    ran = run(bundle(patient(), answers))
    assert (ran.code, ran.counts) == (0, (2, 2, 0, 0, 0))
    assert "phthalmolog" in ran.out


def test_lines_of_ndjson_are_a_clear_error(run: Callable[[Any], Ran]) -> None:
    ran = run('{"layette_visit": 1}\n{"layette_visit": 1}\n')
    assert ran.code == 2
    assert "each line of an NDJSON file is a document of its own" in ran.err


def test_the_account_of_a_flat_visit_counts_what_is_refused(run: Callable[[Any], Ran]) -> None:
    findings = {"weight": [{"value": 3, "unit": "g"}, {"value": 3100, "unit": "g"}], "zzz": ["x"], "murmur": "heard"}
    ran = run({"born": "2026-11-20", "at": AT, "findings": findings})
    assert ran.code == 2
    assert ran.err.endswith("layette: 4 readings of a flat visit read, 0 kept but not understood, 2 refused.\n")
