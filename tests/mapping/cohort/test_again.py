"""An audit is counted again by another pack, and gives what an audit by that pack gives."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from support.sweeps import cases_that_show_each_rule, whole

from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError
from layette.engine.pack.written.folder import default_pack
from layette.mapping.cli.command import main
from layette.mapping.cohort.again import count_again
from layette.mapping.cohort.audit import Wanted, audit


@pytest.fixture(scope="module")
def cohort(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A third of the cases that show each rule; all of them with `--whole-sweeps`."""
    place = tmp_path_factory.mktemp("again") / "visits.ndjson"
    kept = []
    for case in cases_that_show_each_rule()[:: 1 if whole(request) else 3]:
        try:
            load_pack().read_visit(case.shape.given)
        except InputError:
            continue
        kept.append(json.dumps(case.shape.given, default=str) + "\n")
    place.write_text("".join(kept), encoding="utf-8")
    return str(place)


@pytest.fixture(scope="module")
def done(cohort: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("done") / "out"
    audit(Wanted(cohort, out, part=60), load_pack())
    return out


def edited(tmp_path: Path, file: str, old: str, new: str) -> Pack:
    folder = tmp_path / "pack"
    shutil.copytree(str(default_pack()), folder, ignore=shutil.ignore_patterns("__pycache__"))
    place = folder / file
    text = place.read_text(encoding="utf-8")
    assert old in text
    place.write_text(text.replace(old, new), encoding="utf-8")
    return load_pack(folder)


def statuses(out: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = pq.read_table(out / "statuses").to_pylist()
    return found


def test_by_the_same_pack_nothing_is_read_again_and_all_is_the_same(done: Path, tmp_path: Path) -> None:
    found = count_again(done, load_pack(), tmp_path / "again")
    settings = sum("settings" in json.loads(row["flat"]) for row in pq.read_table(done / "flat").to_pylist())
    assert found.anew == ()
    assert found.one_by_one == settings < found.visits / 2
    assert statuses(tmp_path / "again") == statuses(done)


def test_other_limits_are_cut_out_of_the_same_values(done: Path, cohort: str, tmp_path: Path) -> None:
    other = edited(tmp_path, "decisions/danger-signs.yaml", "at_least: 38.0, over", "at_least: 38.5, over")
    found = count_again(done, other, tmp_path / "again", workers=2)
    audit(Wanted(cohort, tmp_path / "whole"), other)
    assert found.anew == ()
    assert statuses(tmp_path / "again") == statuses(tmp_path / "whole")
    assert statuses(tmp_path / "again") != statuses(done)


def test_a_view_that_means_otherwise_is_named_and_read_again(done: Path, cohort: str, tmp_path: Path) -> None:
    other = edited(tmp_path, "findings/vital-signs.yaml", "plausible: [25, 45]", "plausible: [24, 45]")
    found = count_again(done, other, tmp_path / "again")
    audit(Wanted(cohort, tmp_path / "whole"), other)
    assert "temperature" in found.anew
    assert found.one_by_one == found.visits
    assert statuses(tmp_path / "again") == statuses(tmp_path / "whole")


def test_the_command_counts_by_another_site(done: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    site = tmp_path / "site.yaml"
    site.write_text("site: A clinic\nsettings: {eye_pathway: nice}\n", encoding="utf-8")
    assert main(["audit", str(done), "--site", str(site), "--by", "clinic", "--out", str(tmp_path / "to")]) == 0
    assert "visits counted by clinic" in capsys.readouterr().err
    counts = pq.read_table(tmp_path / "to" / "rule_counts").to_pylist()
    assert {row["fired"] for row in counts if row["rule"] == "eyes.red-reflex-abnormal"} == {0}
    assert any(row["fired"] for row in counts if row["rule"] == "eyes.red-reflex-abnormal-14-d")
