"""The programs of BATCHES.md run as they stand, and make what an audit writes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from support.checkout import blocks
from support.made_cohort import make

from layette.engine.api import load_pack
from layette.mapping.cohort.again import count_again
from layette.mapping.cohort.audit import Wanted, audit
from layette.mapping.cohort.batches.encode import REJECTED, TOTALS, tables_of
from layette.mapping.cohort.batches.parts import whole_parts

PAGE = "mapping/cohort/BATCHES.md"
POLARS, DUCKDB, COUNTED = blocks(PAGE, "python")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the page names: some visits, some of them broken, their audit, and a site."""
    out = tmp_path_factory.mktemp("page")
    make(out, "--newborns", "20", "--often", "12", "--seed", "5")
    (out / "site.yaml").write_text("site: A clinic\nsettings: {eye_pathway: nice}\n", encoding="utf-8")
    audit(Wanted(str(out / "visits.ndjson"), out / "AUDIT", part=1000), load_pack())
    return out


def run(program: str, place: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    monkeypatch.chdir(place)
    names: dict[str, Any] = {}
    exec(compile(program, PAGE, "exec"), names)
    return names


def rows(table: pa.Table) -> list[str]:
    return sorted(map(repr, table.to_pylist()))


@pytest.mark.parametrize(
    "program", [pytest.param(POLARS, id="polars", marks=pytest.mark.spark), pytest.param(DUCKDB, id="duckdb")]
)
def test_the_tables_are_those_of_an_audit(program: str, place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    names = run(program, place, monkeypatch)
    [tables] = tables_of(pa.Table.from_batches(names["made"])).values()
    told = (place / "AUDIT/rejected.ndjson").read_text(encoding="utf-8").splitlines()
    where = str(place / "visits.ndjson")  # an audit names the file as it was given
    assert [line.replace('"visits.ndjson"', f'"{where}"') for line in tables.pop(REJECTED)["line"].to_pylist()] == told
    assert tables.pop(TOTALS)["rejected"].to_pylist() == [len(told)] != [0]
    for name, made in tables.items():
        held = pq.read_table(place / "AUDIT" / name)
        if "source" in held.column_names:
            held, made = (one.drop_columns(["source"]) for one in (held, made))
        assert rows(made) == rows(held), name
    assert len(names["due"]) == len(pq.read_table(place / "AUDIT/due")) > 0


def test_the_counts_are_those_of_a_recount(place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = run(COUNTED, place, monkeypatch)["statuses"]
    count_again(place / "AUDIT", load_pack(None, place / "site.yaml"), tmp_path / "again")
    assert (
        rows(made) == rows(pq.read_table(tmp_path / "again/statuses")) != rows(pq.read_table(place / "AUDIT/statuses"))
    )


def test_parts_are_whole_wherever_they_were_cut() -> None:
    rows = pa.table({"part": [0, 0, 0, 1, 2, 2], "visit": range(6)})
    for size in range(1, 7):
        found = [batch.to_pydict() for batch in whole_parts(rows.to_batches(max_chunksize=size))]
        assert found == [
            {"part": [0, 0, 0], "visit": [0, 1, 2]},
            {"part": [1], "visit": [3]},
            {"part": [2, 2], "visit": [4, 5]},
        ]
