"""What another pack would change, with the visits."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from support.small_pack import FOLDER, small

from layette.mapping.cli.command import main
from layette.mapping.cohort.audit import Wanted, audit
from layette.mapping.cohort.compared import Reason, differing, direction

SEEN: dict[str, Any] = {
    "born": "2026-05-01T08:00:00+00:00", "at": "2026-05-06T10:00:00+00:00",
    "findings": {"red_reflex.left": "white"},
}  # fmt: skip
BY = ("--compare", str(FOLDER))
"""A pack of few rules: what is tried is how two packs are compared, not what they say."""
SITE = """
site: A clinic
rules_off:
  - {rule: exam.red-reflex-abnormal, reason: tried, by: Director, on: "2026-03-01"}
"""


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> Path:
    tmp_path = tmp_path_factory.mktemp("audited")
    visits = [SEEN | {"clinic": "North"}, SEEN | {"clinic": "South", "findings": {"red_reflex.left": "present"}}]
    place = tmp_path / "visits.ndjson"
    visits[0]["findings"] = {"red_reflex.left": "white"}
    place.write_text("".join(json.dumps(visit) + "\n" for visit in visits), encoding="utf-8")
    audit(Wanted(str(place), tmp_path / "out", part=1), small())
    return tmp_path / "out"


@pytest.fixture
def done(audited: Path, tmp_path: Path) -> Path:
    """The audit for a test to change."""
    return Path(shutil.copytree(audited, tmp_path / "out"))


def changes(out: Path) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = pq.read_table(out / "changes").to_pylist()
    return found


@pytest.mark.xdist_group("compared")
@pytest.mark.parametrize("workers", ["1", "2"])
def test_a_rule_that_is_switched_off_is_lost_where_it_fired(
    done: Path, tmp_path: Path, workers: str, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site.yaml"
    site.write_text(SITE, encoding="utf-8")
    assert main(["audit", str(done), "--compare-site", str(site), "--workers", workers, *BY]) == 0
    assert "1 of 2 visits would change" in capsys.readouterr().err
    lost = [c for c in changes(done) if c["rule"] == "exam.red-reflex-abnormal"]
    assert [(c["visit"], c["clinic"], c["direction"], c["priority"], c["other_priority"]) for c in lost] == [
        (0, "North", "lost", "stat", None)
    ]
    assert {c["visit"] for c in changes(done)} == {0}


@pytest.mark.xdist_group("compared")
@pytest.mark.parametrize("option", ["--compare", "--pack"])
def test_the_same_pack_changes_nothing(option: str, done: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["audit", str(done), "--compare-site", str(_bare(done)), option, str(FOLDER)]) == 0
    assert "0 of 2 visits would change" in capsys.readouterr().err
    assert changes(done) == []


def _bare(out: Path) -> Path:
    place = out.parent / "bare.yaml"
    place.write_text("site: A clinic\n", encoding="utf-8")
    return place


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (None, Reason("stat", 1), "gained"),
        (Reason("stat", 1), None, "lost"),
        (Reason("urgent", 1), Reason("stat", 1), "more pressing"),
        (Reason("stat", 1), Reason("urgent", 1), "less pressing"),
        (Reason("stat", 2), Reason("stat", 1), "sooner"),
        (Reason("stat", None), Reason("stat", 1), "sooner"),
        (Reason("stat", 1), Reason("stat", None), "later"),
    ],
)
def test_directions(old: Reason | None, new: Reason | None, told: str) -> None:
    assert direction(old, new) == told


def test_a_reason_beside_another_one_changes_no_act() -> None:
    one, other = ("a", "refer", "eye", None), ("b", "refer", "eye", None)
    both = {one: Reason("stat", 1), other: Reason("urgent", 5)}
    assert [row[-1] for row in differing(both, {one: Reason("stat", 1)})] == [False]
    assert [row[-1] for row in differing(both, {other: Reason("urgent", 5)})] == [True]
    assert [*differing(both, both)] == []


def test_packs_are_compared_on_this_machine_and_spark_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["audit", "anything", "--compare", "pack", "--engine", "spark"]) == 2
    assert "two packs are compared on this machine" in capsys.readouterr().err
