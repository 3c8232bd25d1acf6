"""FHIR over HTTP: a Bundle in, a Bundle out, and what the server says of itself."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from support.asked_service import OWN, Service
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.mapping.cli import main
from layette.mapping.export import export
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.fhir.xml import from_xml, to_xml
from layette.mapping.validate import validate

pytestmark = pytest.mark.xdist_group("service")

JSON, XML = "application/fhir+json", "application/fhir+xml"
JAUNDICED = (EXAMPLES / "jaundiced-sleepy-day-4.json").read_bytes()
AS_XML = to_xml(loads(JAUNDICED))


def test_the_answer_is_that_of_the_command(service: Service, tmp_path: Path) -> None:
    out = tmp_path / "answer.json"
    assert main(["assess", str(EXAMPLES / "jaundiced-sleepy-day-4.json"), "--to", "fhir-json", "--out", str(out)]) == 0
    reply = service.post("/fhir/$assess", JAUNDICED, JSON)
    assert (reply.status_code, reply.headers["content-type"]) == (200, JSON)
    assert reply.content == out.read_bytes().rstrip(b"\n")


@pytest.mark.parametrize(
    ("sent", "accept", "query", "given"),
    [
        (JSON, "", "", JSON),
        (JSON, "*/*", "", JSON),
        (JSON, XML, "", XML),
        ("application/json", "application/xml", "", XML),
        (XML, "", "", XML),
        (XML, "*/*", "", XML),
        (XML, JSON, "", JSON),
        ("text/xml; charset=utf-8", "application/json;q=0.5, text/xml;q=0.4", "", JSON),
        (JSON, "text/html, application/fhir+xml; fhirVersion=4.0", "", XML),
        (JSON, XML, "?_format=json", JSON),
        (JSON, JSON, "?_format=application/fhir+xml", XML),
    ],
)
def test_json_or_xml_as_it_is_wanted(service: Service, sent: str, accept: str, query: str, given: str) -> None:
    body = AS_XML if "xml" in sent else JAUNDICED
    reply = service.post(f"/fhir/$assess{query}", body, sent, accept=accept)
    assert (reply.status_code, reply.headers["content-type"]) == (200, given)
    resource = from_xml(reply.content) if given == XML else loads(reply.content)
    assert (resource["type"], validate(resource)) == ("transaction", [])


def test_a_form_that_is_not_given_is_refused(service: Service) -> None:
    reply = service.post("/fhir/$assess", JAUNDICED, JSON, accept="text/csv")
    assert reply.status_code == 406
    assert validate(reply.json()) == []


def test_what_the_caller_chose_counts(service: Service) -> None:
    moved = service.post("/fhir/$assess?at=2026-05-15T11:00:00-05:00&parts=inbox&language=es", JAUNDICED, JSON).text
    assert '"Task"' in moved
    assert "2026-05-15T11:00:00-05:00" in moved
    nobody = service.post("/fhir/$assess?subject=nobody", JAUNDICED, JSON)
    assert (nobody.status_code, nobody.json()["resourceType"]) == (422, "OperationOutcome")
    for wrong in ("language=xx", "parts=some"):
        refused = service.post(f"/fhir/$assess?{wrong}", JAUNDICED, JSON)
        assert (refused.status_code, refused.json()["issue"][0]["details"]["text"]) == (422, "query")


def test_the_bundle_may_come_in_parameters(service: Service) -> None:
    wrapped = {"resourceType": "Parameters", "parameter": [{"name": "bundle", "resource": loads(JAUNDICED)}]}
    plain = service.post("/fhir/$assess", JAUNDICED, JSON)
    assert service.post("/fhir/$assess", dumps(wrapped), JSON).content == plain.content


def test_errors_are_an_outcome_with_what_is_urgent(service: Service) -> None:
    bundle = loads(JAUNDICED)
    for entry in bundle["entry"]:
        if entry["resource"].get("valueQuantity", {}).get("code") == "g":
            entry["resource"]["valueQuantity"] |= {"unit": "foo", "code": "foo"}
    for accept in (JSON, XML):
        reply = service.post("/fhir/$assess", dumps(bundle), JSON, accept=accept)
        outcome = loads(reply.content) if accept == JSON else from_xml(reply.content)
        assert (reply.status_code, outcome["resourceType"], validate(outcome)) == (422, "OperationOutcome", [])
        assert any("foo" in issue["diagnostics"] for issue in outcome["issue"])
        assert any(issue["diagnostics"].startswith("Urgent, ") for issue in outcome["issue"])


@pytest.mark.parametrize("body", [b"", b"hello", b"<a/>", b"{", b"[]", b'"Bundle"', b"born: 2026-11-20", b"{}"])
def test_what_is_no_fhir_is_an_outcome(service: Service, body: bytes) -> None:
    for path in ("/fhir/$assess", "/fhir/$validate"):
        reply = service.post(path, body, JSON)
        assert reply.json()["resourceType"] == "OperationOutcome"
        assert validate(reply.json()) == []
        assert reply.status_code in (200, 422)
        assert any(issue["severity"] == "error" for issue in reply.json()["issue"])


def test_anyone_s_resource_is_checked(service: Service) -> None:
    wrong = service.post("/fhir/$validate", '{"resourceType": "Patient", "gender": "girl"}', JSON)
    assert wrong.status_code == 200
    assert [issue["expression"] for issue in wrong.json()["issue"]] == [["Patient.gender"]]
    right = service.post("/fhir/$validate", JAUNDICED, JSON, accept=XML)
    assert from_xml(right.content)["issue"][0]["severity"] == "information"
    advised = service.post("/fhir/$validate?advice=true", '{"resourceType": "Patient"}', JSON)
    assert "dom-6" in advised.text


def test_the_server_says_what_it_can_do(service: Service) -> None:
    statement = service.ask("GET", "/fhir/metadata").json()
    assert validate(statement) == []
    assert statement["implementation"]["url"] == f"{OWN}/fhir"
    [rest] = statement["rest"]
    for kind in (one["type"] for one in rest["resource"]):
        assert service.ask("GET", f"/fhir/{kind}").status_code == 200
    defined = {one["name"]: one["definition"] for one in rest["operation"]}
    assert list(defined) == ["assess", "validate"]
    found = service.ask("GET", f"/fhir/OperationDefinition?url={defined['assess']}").json()
    [entry] = found["entry"]
    assert validate(found) == []
    inputs = {one["name"] for one in entry["resource"]["parameter"] if one["use"] == "in"}
    described = service.ask("GET", "/openapi.json").json()["paths"]["/fhir/$assess"]["post"]["parameters"]
    assert inputs == {"bundle", *(one["name"] for one in described)}


def test_what_the_pack_publishes_can_be_read(service: Service) -> None:
    published = export(load_pack())
    for kind in ("PlanDefinition", "Questionnaire", "Library"):
        [one] = [resource for resource in published if resource["resourceType"] == kind]
        reply = service.ask("GET", f"/fhir/{kind}/{one['id']}")
        assert (reply.status_code, loads(reply.content)) == (200, loads(dumps(one)))
        as_xml = service.ask("GET", f"/fhir/{kind}/{one['id']}", accept=XML)
        assert from_xml(as_xml.content)["id"] == one["id"]
    listed: dict[str, Any] = service.ask("GET", "/fhir/ConceptMap").json()
    assert listed["total"] == sum(resource["resourceType"] == "ConceptMap" for resource in published)


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/fhir/Patient", 404),
        ("GET", "/fhir/Questionnaire/none", 404),
        ("GET", "/fhir/Questionnaire/none/_history/1", 404),
        ("DELETE", "/fhir/Questionnaire/newborn-exam", 405),
        ("GET", "/fhir/$assess", 404),
    ],
)
def test_what_is_not_there_is_an_outcome(service: Service, method: str, path: str, status: int) -> None:
    reply = service.ask(method, path)
    assert (reply.status_code, reply.json()["resourceType"]) == (status, "OperationOutcome")
    assert validate(reply.json()) == []
    assert json.dumps(reply.json()).count("Traceback") == 0
