"""What an audit reads beside lines of visits: FHIR Bundles, Bulk Data, tables of findings."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import duckdb
import pyarrow.parquet as pq
import pytest
from support.small_pack import FOLDER

from layette.engine.api import load_pack
from layette.engine.errors import InputError
from layette.mapping.cli.command import main
from layette.mapping.cohort.audit import Wanted, audit
from layette.mapping.cohort.part import Totals
from layette.mapping.fhir_json import loads

BY = ("--pack", str(FOLDER))
"""A pack of few rules, where what is tried is how a table is read."""
BUNDLES = ("jaundiced-sleepy-day-4.json", "red-reflex-hip-testis-day-6.json")
EXAMPLES = Path(__file__).parents[3] / "examples"


def rows(out: Path, table: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = pq.read_table(out / table).to_pylist()
    return found


def asked(out: Path) -> set[tuple[Any, ...]]:
    at = {row["visit"]: row["encounter"] for row in rows(out, "visits")}
    names = ("rule", "target", "side", "status", "priority", "window_until")
    return {(at[row["visit"]], *(row[name] for name in names)) for row in rows(out, "recommendations")}


def bulk(folder: Path, bundles: list[dict[str, Any]], *, zipped: bool) -> Path:
    """Write the resources of Bundles as Bulk Data does: a file a type, each resource once."""
    by_kind: dict[str, dict[str, str]] = {}
    for bundle in bundles:
        for entry in bundle["entry"]:
            made = entry["resource"]
            by_kind.setdefault(made["resourceType"], {})[made["id"]] = json.dumps(made, default=float)
    folder.mkdir()
    for kind, lines in by_kind.items():
        content = "".join(line + "\n" for line in lines.values()).encode()
        if zipped:
            (folder / f"{kind}.000.ndjson.gz").write_bytes(gzip.compress(content))
        else:
            (folder / f"{kind}.ndjson").write_bytes(content)
    return folder


def example(name: str) -> dict[str, Any]:
    made: dict[str, Any] = loads((EXAMPLES / name).read_bytes())
    return made


@pytest.fixture(scope="module")
def from_bundles(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The audit of two Bundles, a line each."""
    place = tmp_path_factory.mktemp("bundles")
    lines = place / "bundles.ndjson"
    lines.write_text("".join(json.dumps(example(name), default=float) + "\n" for name in BUNDLES), encoding="utf-8")
    assert audit(Wanted(str(lines), place / "out"), load_pack()).totals.visits == 2
    return place / "out"


@pytest.mark.xdist_group("bulk")
@pytest.mark.parametrize("zipped", [False, True])
def test_bulk_data_gives_the_visits_of_the_bundles_that_it_was_made_of(
    from_bundles: Path, tmp_path: Path, zipped: bool
) -> None:
    folder = bulk(tmp_path / "bulk", [example(name) for name in BUNDLES], zipped=zipped)
    (folder / "Observation.2.ndjson").write_text('{"resourceType": "Observation"\n{"resourceType": "Patient"}\n')
    again = tmp_path / "again"
    progress = audit(Wanted(str(folder), again), load_pack())
    assert (progress.totals.visits, progress.totals.rejected) == (2, 1)
    aside = [json.loads(line) for line in (again / "rejected.ndjson").read_text().splitlines()]
    assert [(Path(one["source"]).name, one["line"]) for one in aside] == [("Observation.2.ndjson", 1)]
    assert {row[1:] for row in asked(again)} == {row[1:] for row in asked(from_bundles)}
    assert {row["source"] for row in rows(again, "visits")} == {row["encounter"] for row in rows(again, "visits")}


@pytest.mark.parametrize(
    "subject",
    [
        None,
        {"identifier": {"system": "urn:x", "value": "7"}},
        {"reference": f"urn:uuid:{'0' * 8}-0000-4000-8000-{'0' * 12}"},
    ],
)
def test_a_resource_that_names_no_patient_is_set_aside_and_counted(tmp_path: Path, subject: object) -> None:
    bundle = example("jaundiced-sleepy-day-4.json")
    resources = [entry["resource"] for entry in bundle["entry"]]
    for kind in ("Encounter", "Observation"):
        one = next(one for one in resources if one["resourceType"] == kind)
        lost = {**one, "id": f"lost-{kind}", "subject": subject}
        bundle["entry"].append({"resource": {key: value for key, value in lost.items() if value}})
    bundle["entry"].append({"resource": {**one, "id": "of-a-room", "subject": {"reference": "Location/7"}}})
    out = tmp_path / "out"
    progress = audit(Wanted(str(bulk(tmp_path / "bulk", [bundle], zipped=False)), out), load_pack())
    assert (progress.totals.visits, progress.totals.rejected) == (1, 2)
    aside = [json.loads(line) for line in (out / "rejected.ndjson").read_text().splitlines()]
    assert [one["source"] for one in aside] == ["Encounter/lost-Encounter", "Observation/lost-Observation"]
    assert {one["problems"][0]["code"] for one in aside} <= {"patient", "invalid-fhir"}


@pytest.mark.parametrize("broken", [b"no gzip at all", gzip.compress(b'{"resourceType": "Condition"}\n' * 99)[:-12]])
def test_a_packed_file_that_cannot_be_unpacked_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], broken: bytes
) -> None:
    folder = bulk(tmp_path / "bulk", [example("jaundiced-sleepy-day-4.json")], zipped=True)
    (folder / "Immunization.ndjson").write_bytes(b"")
    (folder / "Procedure.000.ndjson.gz").write_bytes(b"")
    (folder / "Condition.7.ndjson.gz").write_bytes(broken)
    words = ["audit", str(folder), "--out", str(tmp_path / "out"), "--workers", "1"]
    assert main(words) == 2
    assert "Condition.7.ndjson.gz: this cannot be unpacked" in capsys.readouterr().err
    (folder / "Condition.7.ndjson.gz").unlink()
    assert main(words) == 0


def test_stays_in_hospital_and_older_children_are_no_visits(tmp_path: Path) -> None:
    bundle = example("jaundiced-sleepy-day-4.json")
    (visit,) = [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Encounter"][-1:]
    period = {"start": "2027-06-01T10:00:00-05:00"}
    bundle["entry"] += [
        {"resource": visit | {"id": "stay", "class": {"code": "IMP"}}},
        {"resource": visit | {"id": "later", "period": period}},
        {"resource": visit | {"id": "off", "status": "cancelled"}},
    ]
    out = tmp_path / "out"
    progress = audit(Wanted(str(bulk(tmp_path / "bulk", [bundle], zipped=False)), out), load_pack())
    assert (progress.totals.visits, progress.skipped) == (1, 1)
    assert progress.totals == Totals(1, 0, 0, progress.totals.record_end)


COLUMNS = """
visit: {patient: mrn, encounter: no, clinic: site, at: seen, born: birth, sex_at_birth: sex}
offset: "-06:00"
"""
WIDE = (
    COLUMNS
    + """
wide:
  weight: {column: wt, unit: g}
  red_reflex.left: {column: rr, values: {N: present, W: white}}
"""
)
LONG = (
    COLUMNS
    + """
long:
  finding: test
  value: result
  unit: units
  findings: {WT: {finding: weight, unit: g}, RR: {finding: red_reflex.left, values: {N: present, W: white}}}
"""
)
WIDE_CSV = """mrn,no,site,seen,birth,sex,wt,rr
7,1,North,2026-05-06 10:00:00,2026-05-01 08:00:00,male,3300,W
8,2,South,2026-05-06T10:00:00-05:00,2026-05-01,female,,N
"""
LONG_CSV = """mrn,no,site,seen,birth,sex,test,result,units
7,1,North,2026-05-06 10:00:00,2026-05-01 08:00:00,male,WT,3300,
8,2,South,2026-05-06T10:00:00-05:00,2026-05-01,female,RR,N,
7,1,North,2026-05-06 10:00:00,2026-05-01 08:00:00,male,RR,W,
7,1,North,2026-05-06 10:00:00,2026-05-01 08:00:00,male,other,1,kg
"""


@pytest.mark.parametrize("parquet", [False, True])
@pytest.mark.parametrize(("text", "columns"), [(WIDE_CSV, WIDE), (LONG_CSV, LONG)])
def test_a_table_is_read_as_its_columns_say(tmp_path: Path, text: str, columns: str, parquet: bool) -> None:
    place = tmp_path / "table.csv"
    place.write_text(text, encoding="utf-8")
    (tmp_path / "columns.yaml").write_text(columns, encoding="utf-8")
    if parquet:
        duckdb.sql(f"COPY (FROM read_csv('{place}', all_varchar = true)) TO '{tmp_path}/table.parquet'")
        place = tmp_path / "table.parquet"
    out = tmp_path / "out"
    words = ["audit", str(place), "--columns", str(tmp_path / "columns.yaml"), "--out", str(out), "--workers", "1", *BY]
    assert main(words) == 0
    told = [(row["patient"], row["clinic"], row["sex"], row["at"].isoformat()) for row in rows(out, "visits")]
    assert told == [
        ("Patient/7", "North", "male", "2026-05-06T16:00:00+00:00"),
        ("Patient/8", "South", "female", "2026-05-06T15:00:00+00:00"),
    ]
    assert {row["visit"] for row in rows(out, "recommendations") if row["priority"] == "stat"} == {0}
    flat = [json.loads(row["flat"])["findings"] for row in rows(out, "flat")]
    assert flat[0]["weight"] == [{"value": "3300", "unit": "g"}]


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        (WIDE.replace("column: wt", "column: kg"), "no such column in the table"),
        (WIDE.replace("weight:", "wieght:"), "no such finding in the pack"),
        (WIDE.replace("born: birth, ", ""), "every visit needs it"),
        (WIDE.replace("clinic: site", "ward: site"), "no such part of a visit"),
        (WIDE + "tall: 1\n", "tall"),
        (None, "says what its columns mean"),
    ],
)
def test_columns_that_do_not_fit_are_named(
    tmp_path: Path, columns: str | None, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    place = tmp_path / "table.csv"
    place.write_text(WIDE_CSV, encoding="utf-8")
    words = ["audit", str(place), "--out", str(tmp_path / "out"), "--workers", "1", *BY]
    if columns is not None:
        (tmp_path / "columns.yaml").write_text(columns, encoding="utf-8")
        words += ["--columns", str(tmp_path / "columns.yaml")]
    assert main(words) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize(
    ("columns", "told"),
    [
        (WIDE.replace("unit: g}", "unit: stone}"), "wide.weight.unit: a unit that this finding does not have"),
        (WIDE.replace("W: white", "W: whitish"), "wide.red_reflex.left.values.W: no value of this finding"),
        (LONG.replace("W: white", "W: whitish"), "long.findings.RR.values.W: no value of this finding"),
        (
            WIDE.replace("{column: wt", "{colum: wt"),
            "wide.weight.colum: 'colum' is no key here; did you mean 'column'?",
        ),
        ("visit: [1]", "visit: a mapping is due here"),
        ("a: : b", "columns.yaml: $: the input is neither JSON nor XML nor YAML"),
    ],
)
def test_what_no_row_could_be_read_by_is_told_in_our_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], columns: str, told: str
) -> None:
    table, meant = tmp_path / "t.csv", tmp_path / "columns.yaml"
    table.write_text(WIDE_CSV)
    meant.write_text(columns)
    assert main(["audit", str(table), "--columns", str(meant), "--out", str(tmp_path / "out"), *BY]) == 2
    assert told in capsys.readouterr().err


@pytest.mark.parametrize("parquet", [False, True])
def test_a_visit_stands_at_its_first_row_in_the_file(tmp_path: Path, parquet: bool) -> None:
    table, meant, out = tmp_path / "t.csv", tmp_path / "columns.yaml", tmp_path / "out"
    table.write_text(WIDE_CSV.replace("7,1,North", "9,1,North") + "3,7,South,never,2026-05-01,female,,N\n")
    meant.write_text(WIDE)
    if parquet:
        packed = table.with_suffix(".parquet")
        duckdb.sql(f"COPY (SELECT * FROM read_csv('{table}', all_varchar = true)) TO '{packed}' (FORMAT parquet)")
        table = packed
    assert main(["audit", str(table), "--columns", str(meant), "--out", str(out), "--workers", "1", *BY]) == 2
    shift = 0 if parquet else 1
    assert {row["patient"]: row["line"] - shift for row in rows(out, "visits")} == {"Patient/9": 1, "Patient/8": 2}
    assert json.loads((out / "rejected.ndjson").read_text())["line"] == 3 + shift


def test_bulk_data_without_encounters_is_refused_as_that(tmp_path: Path) -> None:
    folder = bulk(tmp_path / "bulk", [example("healthy-day-4.json")], zipped=False)
    (folder / "Encounter.ndjson").unlink()
    with pytest.raises(InputError, match="Bulk Data without Encounters") as found:
        audit(Wanted(str(folder), tmp_path / "out"), load_pack())
    assert "Encounter.ndjson" in found.value.problems[0].expected


def test_a_table_may_have_words_of_its_own_for_the_sex_at_birth(tmp_path: Path) -> None:
    table, meant = tmp_path / "t.csv", tmp_path / "c.yaml"
    table.write_text(
        "mrn,no,site,seen,birth,sex,wt\n"
        "1,1,A,2026-05-08 10:00,2026-05-04 08:30,F,3100\n2,1,A,2026-05-08 10:00,2026-05-04 08:30,x,3100\n"
    )
    wide = "wide: {weight: {column: wt, unit: g}}\n"
    meant.write_text(f"{COLUMNS}sexes: {{F: female, M: male}}\n{wide}")
    progress = audit(Wanted(str(table), tmp_path / "out", columns=str(meant)), load_pack())
    assert (progress.totals.visits, progress.totals.rejected) == (1, 1)
    meant.write_text(f"{COLUMNS}sexes: {{F: girl}}\n{wide}")
    with pytest.raises(InputError, match="sexes"):
        audit(Wanted(str(table), tmp_path / "other", columns=str(meant)), load_pack())
