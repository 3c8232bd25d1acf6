"""An audit on Spark writes what an audit on this machine writes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from support.made_cohort import make
from support.spark_here import small

from layette.engine.api import load_pack
from layette.engine.errors import InputError
from layette.mapping.cli.command import main
from layette.mapping.cohort.again import count_again
from layette.mapping.cohort.audit import Wanted, audit
from layette.mapping.cohort.batches import spark

pytestmark = [pytest.mark.spark, pytest.mark.xdist_group("spark")]
TABLES = (
    "visits", "due", "acts", "open_parts", "flat", "statuses", "values", "recommendations", "unasked", "open_because",
    "rule_counts",
)  # fmt: skip


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    with small(tmp_path_factory.mktemp("spark")) as made:
        yield made


@pytest.fixture(scope="module")
def cohort(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Some 35 visits with orders, corrections and broken lines."""
    out = make(tmp_path_factory.mktemp("cohort"), "--newborns", "14", "--often", "12", "--seed", "5")
    return str(out / "visits.ndjson")


@pytest.fixture(scope="module")
def here(cohort: str, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An audit on this machine."""
    out = tmp_path_factory.mktemp("here") / "out"
    audit(Wanted(cohort, out, part=7), load_pack())
    return out


def rows(out: Path, table: str) -> list[str]:
    """Return the rows of a table in words, sorted, after its columns and their types."""
    held = pq.read_table(out / table)
    return [str([(field.name, str(field.type)) for field in held.schema]), *sorted(map(repr, held.to_pylist()))]


def same(out: Path, other: Path, *but: str) -> None:
    for table in {*TABLES} - {*but}:
        assert rows(out, table) == rows(other, table), table
    assert (out / "rejected.ndjson").read_text() == (other / "rejected.ndjson").read_text() != ""
    accounts = [json.loads((place / "audit.json").read_text()) for place in (out, other)]
    assert accounts[0] == accounts[1]


def test_tables_totals_and_what_is_set_aside_are_those_of_this_machine(
    session: Any, cohort: str, here: Path, tmp_path: Path
) -> None:
    words = ["audit", cohort, "--engine", "spark", "--out", str(tmp_path / "out")]
    assert main(words) == 2  # lines are set aside
    same(tmp_path / "out", here, "open_parts")  # a row a part, and the parts are others


def test_parts_that_spark_cuts_elsewhere_stay_whole(
    session: Any, cohort: str, here: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spark, "_MOST_ROWS", 5)
    monkeypatch.setattr(spark, "_ROUND", 2)
    session.conf.set(spark._ROWS, "5")
    audit(Wanted(cohort, tmp_path / "out", part=7, engine="spark"), load_pack())
    assert session.conf.get(spark._ROWS) == "5"
    same(tmp_path / "out", here)


def test_what_was_begun_here_goes_on_there(session: Any, cohort: str, here: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    audit(Wanted(cohort, out, part=7), load_pack())
    gone = sorted((out / "parts").glob("part-*[0-9].json"))[1::2]
    for place in gone:
        place.unlink()
    progress = audit(Wanted(cohort, out, part=7, engine="spark"), load_pack())
    assert 0 < progress.resumed < progress.read
    same(out, here)


def test_names_are_hashed_there_as_here(session: Any, cohort: str, tmp_path: Path) -> None:
    for name in ("local", "spark"):
        audit(Wanted(cohort, tmp_path / name, part=20, key=b"k" * 32, engine=name), load_pack())  # type: ignore[arg-type]
    same(tmp_path / "spark", tmp_path / "local")
    assert "Patient/" not in " ".join(rows(tmp_path / "spark", "visits"))


def test_another_pack_counts_there_as_here(session: Any, here: Path, tmp_path: Path) -> None:
    site = tmp_path / "site.yaml"
    site.write_text("site: A clinic\nsettings: {eye_pathway: nice}\n", encoding="utf-8")
    pack = load_pack(None, site)
    found = count_again(here, pack, tmp_path / "there", shared=spark.counted)
    assert found == count_again(here, pack, tmp_path / "again")
    assert rows(tmp_path / "there", "statuses") == rows(tmp_path / "again", "statuses") != rows(here, "statuses")
    words = ["audit", str(here), "--site", str(site), "--engine", "spark", "--out", str(tmp_path / "by-command")]
    assert main(words) == 0
    assert rows(tmp_path / "by-command", "statuses") == rows(tmp_path / "again", "statuses")


def test_without_pyspark_the_command_says_what_is_missing(
    cohort: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spark, "find_spec", lambda name: None)
    with pytest.raises(InputError) as caught:
        audit(Wanted(cohort, tmp_path / "out", engine="spark"), load_pack())
    assert "pip install" in str(caught.value)
