"""Every entry is valid R4 by three outside checkers, and equal input gives equal bytes."""

from __future__ import annotations

import os
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import fhir.resources.R4B as r4b
import jsonschema
import pytest
from support.assessment_samples import SamplePack, assessment, flat_visit, source_bundle
from support.checkout import ROOT

from layette.mapping.fhir.json import dumps, loads
from layette.mapping.fhir.xml import from_xml, to_xml, validate_xsd
from layette.mapping.write import to_bundle
from layette.mapping.write.run.context import PROPOSAL, Parts
from layette.mapping.write.run.origins import references

SCHEMAS = ROOT / "schemas" / "fhir"
XSD = Path(os.environ.get("LAYETTE_FHIR_XSD", ROOT.parent / "shared/reference/fhir/fhir-single.xsd"))
BABY, REFLEX = (f"urn:uuid:00000000-0000-4000-8000-00000000000{k}" for k in (1, 2))


def with_urns(parts: Parts = "care") -> dict[str, Any]:
    visit = flat_visit(patient=BABY, encounter=None)
    visit["findings"]["red_reflex.left"] = {"value": "absent", "origin": REFLEX}
    visit["findings"]["weight"] |= {"origin": "https://server.example/fhir/Observation/w1"}
    made = assessment(patient=BABY, encounter=None)
    return to_bundle(made, SamplePack(), source=source_bundle(), visit=visit, parts=parts)


def whole() -> dict[str, Any]:
    return to_bundle(assessment(), SamplePack(), visit=flat_visit(), parts="all")


def inbox() -> dict[str, Any]:
    return to_bundle(assessment(), SamplePack(), visit=flat_visit(), parts="inbox")


def plain() -> dict[str, Any]:
    return to_bundle(assessment(), SamplePack(), visit=flat_visit())


def nameless() -> dict[str, Any]:
    visit = flat_visit(patient=None, encounter=None, born="2026-11-20")
    return to_bundle(assessment(patient=None, encounter=None), SamplePack(), visit=visit)


def bare() -> dict[str, Any]:
    none: dict[str, Any] = dict.fromkeys(
        ("recommendations", "avoid", "guidance", "reassurance", "steps", "due", "cannot_evaluate", "measures",
         "conclusions", "notices", "warnings", "choices", "trace", "settings"), (),
    )  # fmt: skip
    return to_bundle(assessment(**none), SamplePack(), visit=flat_visit(findings={}, history={}))


BUNDLES = {
    "plain": plain, "whole": whole, "inbox": inbox, "with urns": with_urns, "nameless": nameless, "bare": bare,
}  # fmt: skip


@pytest.fixture(params=BUNDLES, name="bundle")
def _bundle(request: pytest.FixtureRequest) -> dict[str, Any]:
    return BUNDLES[request.param]()


@cache
def schema() -> dict[str, Any]:
    path = SCHEMAS / "fhir.schema.json"
    return loads(path.read_bytes())


def resources(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == kind]


def test_each_entry_meets_the_published_json_schema_of_its_type(bundle: dict[str, Any]) -> None:
    for entry in bundle["entry"]:
        kind = entry["resource"]["resourceType"]
        whole = {"definitions": schema()["definitions"], "$ref": f"#/definitions/{kind}"}
        problems = list(jsonschema.Draft6Validator(whole).iter_errors(_floats(entry["resource"])))
        assert not problems, f"{kind}: {problems[0].json_path} {problems[0].message}"


def _floats(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _floats(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_floats(inner) for inner in value]
    return float(value) if isinstance(value, Decimal) else value


@pytest.mark.skipif(not XSD.exists(), reason="the XSD of FHIR R4 is to be had from hl7.org/fhir/R4 (fhir-all-xsd)")
def test_the_xml_meets_the_published_xsd_and_says_the_same(bundle: dict[str, Any]) -> None:
    xml = to_xml(bundle)
    assert validate_xsd(xml, XSD) == []
    assert from_xml(xml) == loads(dumps(bundle))


def test_an_outside_model_accepts_each_resource(bundle: dict[str, Any]) -> None:
    for entry in bundle["entry"]:
        r4b.get_fhir_model_class(entry["resource"]["resourceType"]).model_validate_json(dumps(entry["resource"]))
    r4b.get_fhir_model_class("Bundle").model_validate_json(dumps(bundle))


def test_equal_input_gives_equal_bytes() -> None:
    for make in BUNDLES.values():
        assert dumps(make()) == dumps(make())


def test_every_entry_is_a_conditional_create_and_no_fullurl_comes_twice(bundle: dict[str, Any]) -> None:
    urls = [entry["fullUrl"] for entry in bundle["entry"]]
    assert len(urls) == len(set(urls))
    for entry in bundle["entry"]:
        kind = entry["resource"]["resourceType"]
        assert entry["request"]["method"] == "POST"
        assert entry["request"]["url"] == kind
        parameter = "_tag" if kind in ("Provenance", "GuidanceResponse", "ImmunizationRecommendation") else "identifier"
        assert entry["request"]["ifNoneExist"].startswith(f"{parameter}=")


def test_every_urn_is_resolved_inside_the_bundle(bundle: dict[str, Any]) -> None:
    known = {entry["fullUrl"] for entry in bundle["entry"]}
    used = {link["reference"] for link in references(bundle) if link["reference"].startswith("urn:")}
    assert used <= known


def test_the_caution_is_said_once_with_the_run_and_tagged_on_every_request(bundle: dict[str, Any]) -> None:
    caution = assessment().caution
    assert caution in [tag.get("display") for tag in bundle["meta"]["tag"]]
    [response], [provenance] = resources(bundle, "GuidanceResponse"), resources(bundle, "Provenance")
    assert caution in [note["text"] for note in response["note"]]
    assert {"text": caution} in provenance["reason"]
    for kind in ("ServiceRequest", "CommunicationRequest", "CarePlan"):
        for resource in resources(bundle, kind):
            assert ("proposal", PROPOSAL) in [(tag["code"], tag.get("display")) for tag in resource["meta"]["tag"]]
            assert caution not in dumps(resource)


def test_what_came_with_a_url_is_referenced_and_never_written_again() -> None:
    bundle = with_urns("all")
    weights = [r for r in resources(bundle, "Observation") if r["code"].get("text") == "Weight"]
    assert [r["valueQuantity"]["value"] for r in weights] == [Decimal("3290")]
    loss = next(r for r in resources(bundle, "Observation") if r["code"]["text"] == "Weight loss")
    assert {"reference": "https://server.example/fhir/Observation/w1"} in loss["derivedFrom"]


def test_what_has_only_a_urn_goes_along_once_and_dangling_links_become_words() -> None:
    bundle = with_urns()
    [reflex] = [r for r in resources(bundle, "Observation") if r["code"] == {"text": "Red reflex"}]
    assert reflex["subject"] == {"reference": BABY}
    assert reflex["performer"] == [{"display": "not in the input"}]
    [baby] = [e for e in bundle["entry"] if e["resource"]["resourceType"] == "Patient"]
    assert baby["request"]["ifNoneExist"] == "identifier=urn:x|7"
    referral = resources(bundle, "ServiceRequest")[0]
    assert referral["subject"] == {"reference": BABY}
    assert referral["reasonReference"] == [{"reference": REFLEX}]


def test_a_patient_without_identifier_gets_no_entry_and_the_output_says_so() -> None:
    source = source_bundle()
    del source["entry"][0]["resource"]["identifier"]
    made = to_bundle(
        assessment(patient=BABY, encounter=None),
        SamplePack(),
        source=source,
        visit=flat_visit(patient=BABY, encounter=None),
    )
    assert not resources(made, "Patient")
    assert "reference" not in resources(made, "ServiceRequest")[0]["subject"]
    assert any("no identifier" in n["text"] for r in resources(made, "GuidanceResponse") for n in r["note"])


def test_two_newborns_without_a_name_never_share_a_key() -> None:
    other = to_bundle(
        assessment(patient=None, encounter=None, age="4 d 2 h"),
        SamplePack(),
        visit=flat_visit(patient=None, encounter=None),
    )
    first = {e["request"]["ifNoneExist"] for e in nameless()["entry"] if e["resource"]["resourceType"] != "Device"}
    assert first.isdisjoint(e["request"]["ifNoneExist"] for e in other["entry"])


def test_provenance_names_what_was_made_the_software_the_inputs_and_the_pack() -> None:
    bundle = with_urns()
    [provenance] = resources(bundle, "Provenance")
    targets = {link["reference"] for link in provenance["target"]}
    made = {e["fullUrl"] for e in bundle["entry"] if e["resource"]["resourceType"] not in ("Provenance", "Device")}
    assert targets == made - {BABY, REFLEX}
    entities = [entity["what"] for entity in provenance["entity"]]
    assert {"reference": REFLEX} in entities
    assert entities[-1]["identifier"]["value"] == "sha256:1234"


@pytest.mark.parametrize(
    ("given", "behalf"),
    [
        (
            {"reference": "Organization/o", "display": "Fern clinic"},
            {"reference": "Organization/o", "display": "Fern clinic"},
        ),
        ({"display": "Fern clinic"}, {"display": "Fern clinic"}),
        (None, None),
    ],
)
def test_the_software_acts_on_behalf_of_the_organization_of_the_visit(given: Any, behalf: Any) -> None:
    encounter = {"resourceType": "Encounter", "id": "1"} | ({"serviceProvider": given} if given else {})
    made = to_bundle(assessment(), SamplePack(), visit=flat_visit(), source=encounter)
    [provenance] = resources(made, "Provenance")
    assert provenance["agent"][0].get("onBehalfOf") == behalf
