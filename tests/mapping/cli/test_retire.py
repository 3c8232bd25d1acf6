"""`--retire`: beside the answer, the batch that takes back the drafts of ours which it supersedes."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from support.held_drafts import held
from support.shipped_examples import EXAMPLES

from layette.mapping.cli import main
from layette.mapping.fhir.json import dumps, loads

NAME = "jaundiced-sleepy-day-4"
A_DAY_LATER = "2026-05-16T11:00:00-05:00"


def assess(path: Path, folder: Path, *more: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return the answer and the batch."""
    out, retire = folder / "answer.json", folder / "retire.json"
    words = ["assess", str(path), "--to", "fhir-json", "--readers", "native", "--out", str(out)]
    assert main([*words, "--retire", str(retire), *more]) == 0
    return loads(out.read_bytes()), loads(retire.read_bytes())


def test_what_went_by_unordered_is_proposed_anew_and_its_draft_taken_back(tmp_path: Path) -> None:
    given = EXAMPLES / f"{NAME}.json"
    first, nothing = assess(given, tmp_path)
    assert nothing == {"resourceType": "Bundle", "type": "batch"}
    drafts = held(first)["entry"]
    record = loads(given.read_bytes())
    again = tmp_path / "again.json"
    again.write_text(dumps(record | {"entry": [*record["entry"], *drafts]}), encoding="utf-8")
    _, nothing = assess(again, tmp_path)
    assert "entry" not in nothing
    later, batch = assess(again, tmp_path, "--at", A_DAY_LATER)
    replaced = {link["reference"] for entry in later["entry"] for link in entry["resource"].get("replaces", ())}
    assert {entry["request"]["url"] for entry in batch["entry"]} == replaced
    assert {entry["resource"]["status"] for entry in batch["entry"]} == {"revoked"}


def test_no_other_form_has_drafts_to_take_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "visit.json"
    path.write_text(json.dumps({}), encoding="utf-8")
    assert main(["assess", str(path), "--to", "json", "--retire", str(tmp_path / "x")]) == 2
    assert "--retire" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()
