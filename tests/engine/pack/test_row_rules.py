"""Tables whose rows are rules: half-open, without gap or overlap, answered as one lookup."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.small_pack import Edit, copied, visit

from layette.engine import Pack, PackError, load_pack

HEADER = """\
kind: rows
title: Temperature
subject: temperature
at_least: from
below: to
columns: {priority: priority, within: within, target: target}
verb: refer
target: emergency_evaluation
because: Invented.
source: invented
status: invented
edges: The edge belongs to the warmer row.
"""
ROWS = """\
# invented
id,from,to,priority,within,target
cold,,36,urgent,7 d,
warm,37.5,38,urgent,7 d,
hot,38,,stat,,
"""
LISTED: Edit = (
    "pack.yaml",
    "tables: [invented-lines.yaml, wet.yaml]",
    "tables: [invented-lines.yaml, wet.yaml, heat.yaml]",
)


def pack(place: Path, rows: str = ROWS, header: str = HEADER) -> Pack:
    return load_pack(copied(place, LISTED, ("tables/heat.yaml", "*", header), ("tables/heat.csv", "*", rows)))


def problems(place: Path, rows: str, header: str = HEADER) -> list[tuple[str, str, int]]:
    with pytest.raises(PackError) as caught:
        pack(place, rows, header)
    return [(p.code, p.file, p.line) for p in caught.value.problems]


WHOLE = ROWS.replace("7 d,\nwarm", "7 d,\nusual,36,37.5,routine,,ophthalmology\nwarm")


def test_a_gap_is_refused_with_the_row_behind_it(tmp_path: Path) -> None:
    assert problems(tmp_path, ROWS) == [("table-gap", "tables/heat.csv", 4)]


def test_an_overlap_is_refused(tmp_path: Path) -> None:
    assert problems(tmp_path, WHOLE.replace("usual,36,", "usual,35,")) == [("table-overlap", "tables/heat.csv", 4)]


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        (WHOLE.replace("38,,stat", "thirty-eight,,stat"), "table-value"),
        (WHOLE.replace("hot,38,,stat", "hot,38,,never"), "unknown-priority"),
        (WHOLE.replace("id,from", "id,start"), "shape"),
    ],
)
def test_a_bad_cell_or_column_is_refused(tmp_path: Path, rows: str, code: str) -> None:
    assert code in {found for found, _, _ in problems(tmp_path, rows)}


@pytest.mark.parametrize(
    ("value", "rule"),
    [("35.9", "heat.cold"), ("36.0", "heat.usual"), ("37.5", "heat.warm"), ("37.9", "heat.warm"), ("38.0", "heat.hot")],
)
def test_each_value_falls_into_one_row_and_an_edge_into_the_row_above(tmp_path: Path, value: str, rule: str) -> None:
    found = pack(tmp_path, WHOLE).assess(visit({"temperature": {"value": value, "unit": "Cel"}}), readers=["native"])
    fired = [t.rule for t in found.trace if t.rule.startswith("heat.") and t.status == "fired"]
    assert [name for name in fired if "any-" not in name] == [rule]
    assert ("heat.any-emergency-evaluation" in fired) == (rule != "heat.usual")
    reasons = [g.rule for r in found.recommendations for g in r.reasons if g.rule.startswith("heat.")]
    assert reasons == [rule], "the row speaks for itself"
    assert next(t for t in found.trace if t.rule == rule).place.startswith("tables/heat.csv:")


def test_rows_that_may_all_match_make_their_common_target_certain_at_the_lowest_priority(tmp_path: Path) -> None:
    between = {"temperature": {"value": {"between": [37.6, 39]}, "unit": "Cel"}}
    found = pack(tmp_path, WHOLE).assess(visit(between), readers=["native"])
    one = next(r for r in found.recommendations if r.target == "emergency_evaluation")
    assert [g.rule for g in one.reasons] == ["heat.any-emergency-evaluation"]
    assert (one.certain, one.possible) == ("urgent", "stat")
    status = {t.rule: t.status for t in found.trace}
    assert status["heat.warm"] == status["heat.hot"] == "undecided"
    assert status["heat.cold"] == "ruled out"


def test_nothing_measured_decides_nothing(tmp_path: Path) -> None:
    found = pack(tmp_path, WHOLE).assess(visit(), readers=["native"])
    assert not [r for r in found.recommendations if r.target == "emergency_evaluation"]


SAVED = {
    "a byte-order mark": "\ufeff" + WHOLE,
    "semicolons": WHOLE.replace(",", ";"),
    "line ends of two characters": WHOLE.replace("\n", "\r\n"),
    "a remark in quotes": WHOLE.replace("# invented", '"# invented, and more",,,,,'),
    "empty rows at the end": WHOLE + ",,,,,\n;;;;;\n\n",
    "spaces in the head": WHOLE.replace("id,from,to", "id, from, to "),
    "all at once": "\ufeff" + WHOLE.replace(",", ";").replace("\n", "\r\n") + ";;;;;\r\n",
}


@pytest.mark.parametrize("name", SAVED)
def test_what_a_spreadsheet_saves_is_read(name: str, tmp_path: Path) -> None:
    whole, saved = pack(tmp_path / "whole", WHOLE), pack(tmp_path / "saved", SAVED[name])
    assert {key: rule.shape for key, rule in saved.rules.items()} == {k: r.shape for k, r in whole.rules.items()}


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (WHOLE.replace(",", ";").replace("37.5", "37,5"), "'37,5' is not a number; decimals have a point"),
        (WHOLE.replace("37.5", "3_7.5"), "'3_7.5' is not a number"),
        (WHOLE.replace("37.5", "1e9999999"), "'1e9999999' is not a number"),
        (WHOLE.replace("37.5", "9" * 40), "is not a number"),
        (WHOLE.replace("cold", '"' + "x" * 140_000), "this row cannot be read"),
    ],
    ids=lambda text: text[-40:],
)
def test_a_cell_that_is_no_number_is_told_with_what_would_be_right(rows: str, says: str, tmp_path: Path) -> None:
    with pytest.raises(PackError) as caught:
        pack(tmp_path, rows)
    assert {(p.code, p.file) for p in caught.value.problems} == {("table-value", "tables/heat.csv")}
    assert all(says in p.message for p in caught.value.problems)
