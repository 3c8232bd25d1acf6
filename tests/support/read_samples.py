"""A small pack and builders of FHIR resources for the tests of reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from typing import Any

from support.checkout import ROOT

from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import FindingsFile, FindingShape, NormalShape
from layette.engine.pack.written.yaml_nodes import parse
from layette.engine.visit.carried import PART, written
from layette.mapping.read import ReadResult, read

BASE = "https://layette.example/fhir"
OWN = f"{BASE}/CodeSystem/findings"
LOINC, SNOMED, UCUM = "http://loinc.org", "http://snomed.info/sct", "http://unitsofmeasure.org"
BORN, AT = "2026-11-20T08:30:00-06:00", "2026-11-24T10:00:00-06:00"

FINDINGS = """
weight: {label: Weight, number: {unit: kg, accepts: [kg, g, "[lb_av]", "[oz_av]"], resolution: 0.001,
  plausible: [0.2, 15]},  codes: {loinc: "29463-7"}}
birth_weight: {label: Birth weight, number: {unit: kg, accepts: [kg, g], resolution: 0.001, plausible: [0.2, 8]},
  carries_over: true, codes: {loinc: "8339-4"}}
length: {label: Length, number: {unit: cm, accepts: [cm, "[in_i]"], resolution: 0.1, plausible: [20, 90]},
  codes: {loinc: ["8302-2", "8306-3"]}}
temperature: {label: Temperature, number: {unit: Cel, accepts: [Cel, "[degF]"], resolution: 0.1, plausible: [25, 45]},
  qualifier: {route: [rectal, axillary, other]}, codes: {loinc: ["8310-5", "8332-9", "8328-7"]}, reported: true}
heart_rate: {label: Heart rate, number: {unit: /min, accepts: [/min], resolution: 1, plausible: [10, 400]},
  codes: {loinc: "8867-4"}}
apgar_5: {label: Apgar score, number: {unit: "{score}", accepts: ["{score}"], resolution: 1, plausible: [0, 10]},
  carries_over: true, codes: {loinc: "9274-2"}}
serum_bilirubin: {label: Total bilirubin, number: {unit: mg/dL, accepts: [mg/dL, umol/L], substance: bilirubin,
  resolution: 0.1, plausible: [0, 80]},  carries_over: true, awaited: true, codes: {loinc: ["1975-2", "14631-6"]}}
red_reflex: {label: Red reflex, sides: [left, right], values: [present, dull, dark_spots, absent, white],
  coarse: {unsure: [dull, absent]}, expected: present, means: {white: {snomed: "1361009", icd10cm: H44.539}}}
barlow: {label: Barlow, sides: [left, right], values: [negative, positive], expected: negative}
hip_dislocation: {label: Hip, sides: [left, right], values: [none, present], expected: none,
  means: {present: {snomed: ["767002009", "48334007"]}}}
testis: {label: Testis, sides: [left, right], values: [in_scrotum, retractile, inguinal, not_felt],
  expected: [in_scrotum, retractile], applies_when: {sex_at_birth: male}}
jaundice: {label: Jaundice, values: [none, face, belly], coarse: {visible: [face, belly]}, expected: none,
  means: {face: {snomed: "387712008"}, belly: {snomed: "387712008"}}}
murmur: {label: Murmur, values: [none, present], expected: none, means: {present: {snomed: "88610006"}}}
sepsis: {label: Sepsis, values: [none, suspected, known], expected: none, means: {known: {snomed: "206376005"}}}
tone: {label: Tone, values: [usual, floppy], expected: usual}
feeding_well: {label: Feeding well, values: ["no", "yes"], expected: "yes"}
fever_at_home: {label: Fever at home, values: ["no", "yes"], expected: "no", reported: true}
hearing_screen: {label: Hearing screen, sides: [left, right], values: [pass, did_not_pass], expected: pass,
  carries_over: true, side_codes: {left: {loinc: "54108-6"}, right: {loinc: "54109-4"}}}
pulse_oximetry: {label: Pulse oximetry, number: {unit: "%", accepts: ["%"], resolution: 1, plausible: [10, 100]},
  readings: {parts: [hand, foot], together: 10 min, at_most: 3}, carries_over: true,
  part_codes: {hand: {loinc: "59407-7"}, foot: {loinc: "59418-4"}}}
hepatitis_b_vaccine: {label: Hepatitis B vaccine, values: [given], carries_over: true, means: {given: {cvx: "08"}}}
mother_hbsag: {label: HBsAg, subject: mother, values: [negative, positive, status_not_known], carries_over: true,
  awaited: true, codes: {loinc: ["5195-3", "5196-1"]}}
mother_rh: {label: Rh, subject: mother, values: [positive, negative], carries_over: true, awaited: true,
  codes: {loinc: "10331-7"}}
baby_rh: {label: Rh, values: [positive, negative], carries_over: true, awaited: true, codes: {loinc: "10331-7"}}
"""
TARGETS = """
ophthalmology: {kind: refer, label: Ophthalmologist, codes: {snomed: "308479007"}}
serum_bilirubin_test: {kind: order, label: Bilirubin, codes: {loinc: "1975-2"}}
safe_sleep: {kind: guide, label: Safe sleep}
car_seat: {kind: guide, label: Car seat, codes: {snomed: "385870001"}}
"""


@dataclass(eq=False)
class SamplePack:
    """What reading asks of a pack."""

    id: str
    findings: Mapping[str, FindingShape]
    targets: Mapping[str, TargetShape]
    normals: Mapping[str, NormalShape] = field(default_factory=dict)


def plain(text: str) -> Any:
    """YAML as the pack's loader reads it."""
    return parse(text, "sample").data


@cache
def pack() -> SamplePack:
    """The small pack above."""
    findings = plain(FINDINGS)
    targets = plain(TARGETS)
    return SamplePack(
        "sample",
        {name: FindingShape.model_validate(shape) for name, shape in findings.items()},
        {name: TargetShape.model_validate(shape) for name, shape in targets.items()},
    )


@cache
def newborn_pack() -> SamplePack:
    """The findings and targets of the pack that ships, read without the loader."""
    findings: dict[str, FindingShape] = {}
    targets: dict[str, TargetShape] = {}
    for path in sorted((ROOT / "rules/newborn/findings").glob("*.yaml")):
        area = FindingsFile.model_validate(plain(path.read_text(encoding="utf-8")))
        findings.update(area.findings)
    for path in sorted((ROOT / "rules/newborn/targets").glob("*.yaml")):
        for name, shape in (plain(path.read_text(encoding="utf-8")) or {}).items():
            targets[name] = TargetShape.model_validate(shape)
    return SamplePack("newborn", findings, targets)


def patient(**more: Any) -> dict[str, Any]:
    born = {"extension": [{"url": "http://hl7.org/fhir/StructureDefinition/patient-birthTime", "valueDateTime": BORN}]}
    return {
        "resourceType": "Patient",
        "id": "mara",
        "birthDate": "2026-11-20",
        "_birthDate": born,
        "gender": "female",
        "identifier": [{"system": "urn:example", "value": "7"}],
        **more,
    }


def encounter(**more: Any) -> dict[str, Any]:
    return {
        "resourceType": "Encounter",
        "id": "visit",
        "status": "finished",
        "class": {"code": "AMB"},
        "subject": {"reference": "Patient/mara"},
        "period": {"start": AT, "end": "2026-11-24T10:40:00-06:00"},
        **more,
    }


def concept(system: str, code: str, text: str | None = None) -> dict[str, Any]:
    return {"coding": [{"system": system, "code": code}], **({"text": text} if text else {})}


def own(code: str) -> dict[str, Any]:
    return concept(OWN, code)


def loinc(code: str) -> dict[str, Any]:
    return concept(LOINC, code)


def quantity(value: str, unit: str | None, **more: Any) -> dict[str, Any]:
    coded = {"unit": unit, "system": UCUM, "code": unit} if unit else {}
    return {"value": Decimal(value), **coded, **more}


def observation(code: dict[str, Any], **more: Any) -> dict[str, Any]:
    """An Observation of this visit; a key given as None is left out."""
    found = {
        "resourceType": "Observation",
        "id": "o1",
        "status": "final",
        "code": code,
        "subject": {"reference": "Patient/mara"},
        "encounter": {"reference": "Encounter/visit"},
        "effectiveDateTime": AT,
        **more,
    }
    return {key: value for key, value in found.items() if value is not None}


def resource(kind: str, **more: Any) -> dict[str, Any]:
    return {"resourceType": kind, "id": kind.lower(), "subject": {"reference": "Patient/mara"}, **more}


def bundle(*resources: dict[str, Any], kind: str = "collection") -> dict[str, Any]:
    return {"resourceType": "Bundle", "type": kind, "entry": [{"resource": one} for one in resources]}


def visit_bundle(*resources: dict[str, Any]) -> dict[str, Any]:
    return bundle(patient(), encounter(), *resources)


def read_visit(*resources: dict[str, Any], **more: Any) -> ReadResult:
    result = read(visit_bundle(*resources), pack(), **more)
    adds_up(result)
    return result


def adds_up(result: ReadResult) -> None:
    """Every entry is counted once, and the visit carries every problem, so that nobody can go on without it."""
    counts = result.counts
    assert counts.entries == counts.used + counts.not_understood + counts.not_used + counts.refused
    assert result.visit.get(PART, []) == written(result.problems)


def one_reading(result: ReadResult, finding: str) -> dict[str, Any]:
    result.require()
    (reading,) = result.visit["findings"][finding]
    return reading


def codes(result: ReadResult) -> list[str]:
    return [problem.code for problem in result.problems]


def whys(result: ReadResult) -> list[str]:
    return [kept["why"] for kept in result.not_understood]
