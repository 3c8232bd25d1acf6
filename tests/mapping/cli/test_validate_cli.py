"""`layette validate`: anyone's R4, JSON or XML, file or stdin; text for people, an OperationOutcome for systems."""

from __future__ import annotations

import io
import json
import os
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from support.checkout import ROOT

from layette.mapping.cli import main
from layette.mapping.validate import validate

GOOD = {"resourceType": "Patient", "gender": "female", "birthDate": "2026-11-20"}
BAD = GOOD | {"gender": "girl"}
XML = '<Patient xmlns="http://hl7.org/fhir"><gender value="{}"/><birthDate value="2026-11-20"/></Patient>'
XSD = Path(os.environ.get("LAYETTE_FHIR_XSD", ROOT.parent / "shared/reference/fhir/fhir-single.xsd"))


@pytest.fixture(autouse=True)
def no_schema(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("LAYETTE_FHIR_XSD", raising=False)


@pytest.fixture
def files(tmp_path: Path) -> SimpleNamespace:
    content = {
        "good.json": json.dumps(GOOD), "bad.json": json.dumps(BAD), "good.xml": XML.format("female"),
        "bad.xml": XML.format("girl"), "broken.json": '{"resourceType": ', "text.txt": "not FHIR",
    }  # fmt: skip
    for name, text in content.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    return SimpleNamespace(**{name.replace(".", "_"): str(tmp_path / name) for name in content})


@pytest.mark.parametrize("name", ["good_json", "good_xml"])
def test_a_good_resource_is_valid(files: SimpleNamespace, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", getattr(files, name)]) == 0
    assert capsys.readouterr().out.strip().endswith("valid, nothing to report")


@pytest.mark.parametrize("name", ["bad_json", "bad_xml"])
def test_an_error_has_its_path_and_what_would_be_right(
    files: SimpleNamespace, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["validate", getattr(files, name)]) == 2
    first, last = capsys.readouterr().out.strip().splitlines()
    assert first == "error: Patient.gender: This should be one of female, male, other, unknown. [binding]"
    assert last.endswith("invalid, 1 error")


def test_several_files_are_all_checked_and_one_error_decides(
    files: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    given = [files.bad_json, "no-such-file.json", files.broken_json, files.text_txt, files.good_xml]
    assert main(["validate", *given]) == 2
    out = capsys.readouterr().out.splitlines()
    verdicts = [line for line in out if not line.startswith("error: ")]
    assert [": valid" in line for line in verdicts] == [False, False, False, False, True]
    assert len(verdicts) == len(given)


def outcome(capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    assert validate(found) == []
    return found


def test_the_outcome_is_valid_fhir_and_names_the_place(
    files: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["validate", files.bad_json, "--to", "fhir-json"]) == 2
    (issue,) = outcome(capsys)["issue"]
    assert (issue["severity"], issue["code"], issue["expression"]) == ("error", "code-invalid", ["Patient.gender"])


def test_the_outcome_of_a_good_file_says_so(files: SimpleNamespace, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", files.good_json, "--to", "fhir-json"]) == 0
    assert [issue["severity"] for issue in outcome(capsys)["issue"]] == ["information"]


def test_the_outcome_of_several_files_says_whose_each_issue_is(
    files: SimpleNamespace, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["validate", files.bad_json, files.broken_json, files.bad_xml, "--to", "fhir-json"]) == 2
    issues = outcome(capsys)["issue"]
    named = [files.bad_json, files.broken_json, files.bad_xml]
    assert [issue["diagnostics"].startswith(name) for issue, name in zip(issues, named, strict=True)] == [True] * 3
    assert "expression" not in issues[1]


@pytest.mark.parametrize("text", [json.dumps(GOOD), XML.format("female"), "\ufeff" + json.dumps(GOOD)])
def test_stdin_is_read(text: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(text.encode())))
    assert main(["validate", "-"]) == 0
    assert capsys.readouterr().out == "stdin: valid, nothing to report\n"


def test_advice_is_given_when_asked_for(files: SimpleNamespace, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["validate", files.good_json, "--advice"]) == 0
    assert "warning: Patient" in capsys.readouterr().out


def test_the_report_can_go_to_a_file(files: SimpleNamespace, tmp_path: Path) -> None:
    assert main(["validate", files.good_json, "--out", str(tmp_path / "report.txt")]) == 0
    assert "valid" in (tmp_path / "report.txt").read_text()


def test_the_xml_schema_is_used_on_xml(files: SimpleNamespace, capsys: pytest.CaptureFixture[str]) -> None:
    if not XSD.exists():
        pytest.skip("fhir-single.xsd of FHIR R4 4.0.1 (hl7.org/fhir/R4) is not here; LAYETTE_FHIR_XSD names its place")
    assert main(["validate", files.bad_xml, "--xsd", str(XSD)]) == 2
    assert "[xsd]" in capsys.readouterr().out
    assert main(["validate", files.good_json, files.good_xml, "--xsd", str(XSD)]) == 0
    assert "is JSON, so the XML Schema was not used" in capsys.readouterr().err


def test_a_schema_that_cannot_be_used_is_no_verdict(
    files: SimpleNamespace, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "other.xsd").write_text("<a/>")
    for place in ("no.xsd", "other.xsd"):
        assert main(["validate", files.good_xml, "--xsd", str(tmp_path / place)]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert "cannot be used" in err


def test_entities_are_not_opened(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "evil.xml"
    place.write_text('<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/hostname">]>' + XML.format("&x;"))
    assert main(["validate", str(place)]) == 2
    assert "invalid" in capsys.readouterr().out
