"""A flat visit over HTTP: the answer of the command, and its problems."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from support.asked_service import Service
from support.shipped_examples import EXAMPLES

from layette.engine import InputError, load_pack
from layette.engine.visit.carried import written
from layette.mapping.answering import answer
from layette.mapping.cli import main
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.intake import parse
from layette.mapping.pages import exam
from layette.mapping.pages.exam.live import live
from layette.mapping.pages.family_sheet import family_sheet
from layette.mapping.pages.report import report
from layette.mapping.service.limits import Limits

pytestmark = pytest.mark.xdist_group("service")

HEALTHY = dumps(parse((EXAMPLES / "healthy-day-4.yaml").read_bytes()))
HOT: dict[str, Any] = {
    "born": "2026-11-20T08:30:00-06:00",
    "at": "2026-11-24T10:00:00-06:00",
    "findings": {"temperature": {"value": "38.5", "unit": "Cel"}, "weight": {"value": 33, "unit": "kg"}},
}


def test_the_answer_is_that_of_the_command(service: Service, tmp_path: Path) -> None:
    visit, out = tmp_path / "visit.json", tmp_path / "answer.json"
    visit.write_text(HEALTHY, encoding="utf-8")
    assert main(["assess", str(visit), "--to", "json", "--out", str(out)]) == 0
    reply = service.post("/assess", HEALTHY)
    assert reply.status_code == 200
    assert reply.json()["assessment"] == json.loads(out.read_text(encoding="utf-8"))
    assert reply.json()["problems"] == []
    assert "readings of a flat visit read" in reply.json()["account"]


def test_the_page_of_text_comes_when_it_is_asked_for(service: Service) -> None:
    page = service.post("/assess?page=text", HEALTHY).json()["page"]
    assert page == answer(HEALTHY.encode(), load_pack()).to_text(load_pack())


def test_what_is_wrong_is_told_at_once_with_what_is_urgent_all_the_same(service: Service) -> None:
    reply = service.post("/assess", json.dumps(HOT))
    with pytest.raises(InputError) as caught:
        answer(json.dumps(HOT).encode(), load_pack())
    assert reply.status_code == 422
    assert reply.json() == {"problems": written(caught.value.problems), "urgent": list(caught.value.urgent)}
    [problem] = reply.json()["problems"]
    assert problem["path"].startswith("findings.weight")
    assert problem["code"] == "implausible"
    assert reply.json()["urgent"] != []


def test_the_rest_is_answered_when_it_is_sent_without_the_field(service: Service) -> None:
    rest = HOT | {"findings": {"temperature": HOT["findings"]["temperature"]}}
    assert service.post("/assess", json.dumps(rest)).json()["assessment"]["verdict"]["now"] > 0


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        (b"", 422, "not-json"),
        (b"{", 422, "not-json"),
        (b"born: 2026-11-20", 422, "not-json"),
        (b"[{}]", 422, "not-json"),
        (b'{"a":' * 5000 + b"1" + b"}" * 5000, 422, "not-json"),
        (b'{"born": NaN}', 422, "not-json"),
        (b'{"born": 1, "born": 2}', 422, "not-json"),
        (b"\xff\xfe{", 422, "not-json"),
        (b'{"a": "' + b"x" * Limits().size + b'"}', 413, "too-large"),
    ],
)
def test_what_is_no_visit_is_refused(service: Service, body: bytes, status: int, code: str) -> None:
    reply = service.post("/assess", body)
    assert (reply.status_code, reply.json()["problems"][0]["code"]) == (status, code)


def test_a_wrong_choice_is_named(service: Service) -> None:
    reply = service.post("/assess?page=comic", HEALTHY)
    assert reply.status_code == 422
    assert reply.json()["problems"][0]["code"] == "query"
    assert "page" in reply.json()["problems"][0]["message"]


def test_the_report_and_the_family_sheet_are_those_of_the_command(service: Service) -> None:
    found = answer(HEALTHY.encode(), load_pack())
    made = {
        "/report": report(found.assessment, load_pack(), found.visit),
        "/family-sheet": family_sheet(found.assessment, load_pack(), found.visit),
        "/family-sheet?language=es": family_sheet(found.assessment, load_pack(), found.visit, "es"),
    }
    for path, page in made.items():
        reply = service.post(path, HEALTHY)
        assert (reply.status_code, reply.text) == (200, page), path
        assert "<script" not in page
        refused = service.post(path, json.dumps(HOT))
        assert (refused.status_code, refused.json()["urgent"] != []) == (422, True)
    assert service.post("/family-sheet?language=xx", HEALTHY).json()["problems"][0]["code"] == "query"


@pytest.mark.parametrize("name", ["jaundiced-sleepy-day-4.json", "healthy-day-4.yaml"])
def test_a_file_is_read_as_a_flat_visit_that_gives_the_same_answer(service: Service, name: str) -> None:
    content = (EXAMPLES / name).read_bytes()
    read = loads(service.post("/visits/read", content, "application/octet-stream").content)
    found = answer(content, load_pack())
    assert read["problems"] == []
    assert read["visit"] == loads(dumps(found.visit))
    assert read["earlier"] == read["visit"].get("history", {}).get("findings", {})
    assert read["account"] == str(found.account)


def test_what_a_file_holds_that_cannot_be_used_is_told_beside_the_rest(service: Service) -> None:
    bundle = loads((EXAMPLES / "jaundiced-sleepy-day-4.json").read_bytes())
    bundle["entry"][0]["resource"]["birthPlace"] = "here"
    read = service.post("/visits/read", dumps(bundle), "application/fhir+json").json()
    assert [problem["code"] for problem in read["problems"]] == ["invalid-fhir"]
    assert "problems" not in read["visit"]
    assert len(read["visit"]["findings"]) > 10


def test_a_flat_visit_kept_as_fhir_comes_back(service: Service) -> None:
    kept = service.post("/exam/fhir", HEALTHY)
    assert kept.headers["content-type"] == "application/fhir+json"
    again = service.post("/visits/read", kept.content, "application/octet-stream").json()
    before = answer(HEALTHY.encode(), load_pack()).visit
    assert again["visit"]["born"] == before["born"]
    assert again["problems"] == []
    opened = service.post("/exam/open", kept.content, "application/octet-stream").json()
    assert len(opened["records"]) > 100
    beside = service.post("/exam/open?as=earlier&born=2001-01-01", kept.content, "application/octet-stream")
    assert (beside.status_code, beside.json()["problems"][0]["path"]) == (422, "born")


def test_the_exam_page_gets_its_assets_and_what_it_shows_of_an_answer(service: Service) -> None:
    page = service.ask("GET", "/").text
    names = re.findall(r'(?:href|src)="(/[^"]+)"', page)
    assert set(names) == {f"/assets/{name}" for name in re.findall(r"/assets/([^\"]+)", page)}
    for name in {*names, *(f"/assets/{one}" for one in exam.ASSETS)}:
        assert service.ask("GET", name).status_code == 200, name
    assert service.ask("GET", "/assets/../exam.html").status_code == 404
    assert service.ask("GET", "/assets/texts.json").status_code == 404
    shown = service.post("/assess?page=exam", HEALTHY).json()
    assert "assessment" not in shown
    assert shown["answer"] == json.loads(
        json.dumps(live(answer(HEALTHY.encode(), load_pack()).assessment, load_pack()))
    )


def test_a_flat_visit_with_a_mistake_is_not_kept_as_fhir(service: Service) -> None:
    reply = service.post("/exam/fhir", json.dumps(HOT))
    assert reply.status_code == 422
    assert reply.json()["resourceType"] == "OperationOutcome"
