"""`layette export`: one file a resource and one Bundle, and nothing half replaced."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.small_pack import FOLDER

from layette.mapping.cli import main
from layette.mapping.fhir.json import loads
from layette.mapping.fhir.xml import from_xml


@pytest.mark.parametrize(("form", "ending", "parse"), [("fhir-json", "json", loads), ("fhir-xml", "xml", from_xml)])
def test_each_resource_is_a_file_and_the_bundle_holds_them_all(tmp_path, capsys, form, ending, parse) -> None:
    out = tmp_path / "new" / "folder"
    assert main(["export", str(FOLDER), "--out", str(out), "--to", form]) == 0
    files = {place.name: parse(place.read_bytes()) for place in out.iterdir()}
    assert all(name == f"{one['resourceType']}-{one['id']}.{ending}" for name, one in files.items())
    (bundle,) = [one for name, one in files.items() if name.startswith("Bundle-")]
    assert len(bundle["entry"]) == len(files) - 1
    assert [entry["resource"] for entry in bundle["entry"] if entry["resource"] not in files.values()] == []
    assert f"{len(files)} files written" in capsys.readouterr().out


def test_exporting_again_gives_the_same_bytes(tmp_path: Path) -> None:
    command = ["export", str(FOLDER), "--out", str(tmp_path)]
    assert main(command) == 0
    first = {place.name: place.read_bytes() for place in tmp_path.iterdir()}
    assert main(command) == 0
    assert {place.name: place.read_bytes() for place in tmp_path.iterdir()} == first


def test_a_folder_with_other_files_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "ValueSet-gone.json").write_text("{}")
    assert main(["export", str(FOLDER), "--out", str(tmp_path)]) == 2
    assert [place.name for place in tmp_path.iterdir()] == ["ValueSet-gone.json"]
    assert "ValueSet-gone.json" in capsys.readouterr().err


def test_a_faulty_pack_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "pack").mkdir()
    assert main(["export", str(tmp_path / "pack"), "--out", str(tmp_path / "out")]) == 2
    assert not (tmp_path / "out").exists()
    assert "pack.yaml" in capsys.readouterr().err


def test_a_folder_has_to_be_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", str(FOLDER)]) == 2
    assert "--out" in capsys.readouterr().err


def test_a_file_in_place_of_the_folder_is_a_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("mine")
    assert main(["export", str(FOLDER), "--out", str(tmp_path / "file")]) == 2
    assert (tmp_path / "file").read_text() == "mine"
    assert "Traceback" not in capsys.readouterr().err
