"""How the validator reads what R4 leaves to readers: systems, urns, vital signs by code, styles, order in XML."""

from __future__ import annotations

import copy
import os
from pathlib import Path
from typing import Any

import pytest
from lxml import etree
from support.checkout import ROOT

from layette.engine.errors import InputError
from layette.mapping.fhir.types import definition, elements
from layette.mapping.fhir.xml import from_xml
from layette.mapping.validate import validate
from layette.mapping.validate.rules.narrative import problem

XSD = Path(os.environ.get("LAYETTE_FHIR_XSD") or ROOT.parent / "shared/reference/fhir/fhir-single.xsd")
WEIGHT: dict[str, Any] = {
    "resourceType": "Observation",
    "status": "final",
    "category": [
        {
            "coding": [
                {"system": "http://terminology.hl7.org/CodeSystem/observation-category", "code": "vital-signs"},
            ]
        }
    ],
    "code": {"coding": [{"system": "http://loinc.org", "code": "29463-7"}]},
    "subject": {"reference": "Patient/a"},
    "effectiveDateTime": "2026-05-20",
    "valueQuantity": {"value": 3, "unit": "kg", "system": "http://unitsofmeasure.org", "code": "kg"},
}


def told(resource: dict[str, Any]) -> list[tuple[str, str, str]]:
    return [(one.path, one.key, one.severity) for one in validate(resource)]


def test_a_vital_sign_by_its_code_needs_its_category() -> None:
    assert told(WEIGHT) == []
    bare = {name: value for name, value in WEIGHT.items() if name != "category"}
    assert told(bare) == [("Observation.category", "vital-sign", "warning")]
    claimed = {**bare, "meta": {"profile": ["http://hl7.org/fhir/StructureDefinition/bodyweight"]}}
    assert told(claimed) == [("Observation.category", "vital-sign", "error")]


@pytest.mark.parametrize("system", ["LOINC", "loinc.org", "urn:OID:2.16.840.1.113883.6.1", "urn:oid:2.16.840.01"])
def test_a_system_that_nobody_can_compare_is_an_error(system: str) -> None:
    resource = copy.deepcopy(WEIGHT)
    resource["code"]["coding"].append({"system": system, "code": "29463-7"})
    ((path, _, severity),) = told(resource)
    assert (path, severity) == ("Observation.code.coding[1].system", "error")


@pytest.mark.parametrize("system", ["urn:oid:2.16.840.1.113883.6.1", "urn:ietf:rfc:3986", "http://loinc.org/x"])
def test_a_system_with_a_scheme_is_fine(system: str) -> None:
    resource = copy.deepcopy(WEIGHT)
    resource["code"]["coding"].append({"system": system, "code": "x"})
    assert told(resource) == []


def test_a_name_in_the_place_of_a_system_is_answered_with_what_is_meant() -> None:
    resource = copy.deepcopy(WEIGHT)
    resource["code"]["coding"][0]["system"] = "SNOMED-CT"
    assert "http://snomed.info/sct" in validate(resource)[0].message


def test_a_namespace_of_identifiers_without_scheme_is_a_warning() -> None:
    resource = {"resourceType": "Patient", "identifier": [{"system": "MRN", "value": "1"}]}
    assert told(resource) == [("Patient.identifier[0].system", "absolute-uri", "warning")]


@pytest.mark.parametrize(
    "style", ["background: url(data:image/png;base64,AAAA)", "background: url('pictures/tree.png')", "color: red"]
)
def test_a_picture_in_a_style_is_formatting(style: str) -> None:
    assert problem(narrative(style)) is None


@pytest.mark.parametrize(
    "style",
    [
        "background: url(javascript:alert(1))",
        "background: url( 'java/**/script:alert(1)')",
        "background: \\75rl(\\6a avascript:alert(1))",
        "width: exp\\ression(alert(1))",
        "@import 'https://example.org/a.css'",
        "behavior: url(a.htc)",
        "background: url(data:text/html,x)",
    ],
)
def test_a_style_that_runs_is_none(style: str) -> None:
    found = problem(narrative(style))
    assert found is not None
    assert found[0] == "txt-1"


def narrative(style: str) -> str:
    return f'<div xmlns="http://www.w3.org/1999/xhtml"><p style="{style}">Seen.</p></div>'


@pytest.mark.parametrize(("source", "keys"), [("#picture", []), ("#other", ["dom-3"])])
def test_a_contained_image_is_used_by_being_shown(source: str, keys: list[str]) -> None:
    div = f'<div xmlns="http://www.w3.org/1999/xhtml"><img alt="a" src="{source}"/></div>'
    inside = {"resourceType": "Binary", "id": "picture", "contentType": "image/png", "data": "AAAA"}
    resource = {**WEIGHT, "text": {"status": "additional", "div": div}, "contained": [inside]}
    assert [one.key for one in validate(resource)] == keys


@pytest.mark.parametrize(("named", "keys"), [("resource:0", []), ("resource:1", ["dangling"])])
def test_a_reference_of_any_scheme_is_answered_by_a_full_url(named: str, keys: list[str]) -> None:
    entries = [
        {"fullUrl": "resource:0", "resource": {"resourceType": "Patient"}},
        {"fullUrl": "resource:2", "resource": {**WEIGHT, "subject": {"reference": named}}},
    ]
    found = validate({"resourceType": "Bundle", "type": "collection", "entry": entries})
    assert [one.key for one in found] == keys


def xml(inside: str) -> bytes:
    return f'<Patient xmlns="http://hl7.org/fhir">{inside}</Patient>'.encode()


NAME = '<name><family value="A"/></name>'


@pytest.mark.parametrize(
    ("inside", "path"),
    [
        (f'<gender value="male"/><id value="p"/>{NAME}', "Patient.id"),
        (f'{NAME}<gender value="male"/>{NAME}', "Patient.name"),
        ('<name><given value="B"/><family value="A"/></name>', "Patient.name[0].family"),
        ('<name><id value="n"/><family value="A"/></name>', "Patient.name[0].id"),
    ],
)
def test_elements_of_xml_stand_in_the_order_of_the_schema(inside: str, path: str) -> None:
    with pytest.raises(InputError) as caught:
        from_xml(xml(inside))
    assert {problem.path for problem in caught.value.problems} >= {path}


@pytest.mark.skipif(not XSD.exists(), reason="the published XML Schema of FHIR is not here: LAYETTE_FHIR_XSD names it")
def test_the_order_of_the_json_schema_is_that_of_the_xml_schema() -> None:
    space = "{http://www.w3.org/2001/XMLSchema}"
    types = {str(node.get("name")): node for node in etree.parse(XSD).getroot().iter(f"{space}complexType")}

    def ordered(name: str) -> list[str]:
        base = types[name].find(f".//{space}extension")
        before = [] if base is None or base.get("base") not in types else ordered(str(base.get("base")))
        found = types[name].iterfind(f".//{space}sequence//{space}element")
        return before + [str(node.get("name") or node.get("ref")) for node in found]

    both = known()
    names = [name for name in sorted(types) if name.replace(".", "_") in both]
    assert len(names) > 600
    for name in names:
        ours, theirs = list(elements(name.replace(".", "_"))), ordered(name)
        assert [one for one in ours if one in theirs] == [one for one in theirs if one in ours], name


def known() -> set[str]:
    from layette.mapping.fhir.types import DATA

    lines = (DATA / "definitions.json").read_text("utf-8").splitlines()
    return {line.split('"')[1] for line in lines if line.startswith('"') and definition(line.split('"')[1])}
