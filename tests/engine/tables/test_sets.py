"""What a set's header may say beyond its lines: how each runs, that they are one-way, and how near a value matters."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from support.small_pack import copied

from layette.engine import PackError, load_pack
from layette.engine.exact.interval import Interval
from layette.engine.measures.thresholds import ThresholdSet, beyond, threshold
from layette.engine.tables.load import load_table

HEADER: dict[str, Any] = {
    "kind": "set",
    "label": "Invented",
    "issuer": "nobody",
    "source": "invented",
    "status": "our-reading",
    "unit": "umol/L",
    "beyond": "more_than",
    "gestations": [38],
    "axis": "age_hours",
    "lines": {"phototherapy": "light", "exchange": "blood"},
    "covers": [0, 336],
    "provenance": "Invented for a test.",
}
ROWS = "# invented\nage_hours,light,blood\n0,100,200\n10,200,300\n"


def made(**more: Any) -> ThresholdSet:
    table, problems = load_table({**HEADER, **more}, ROWS, "tables/invented.csv")
    assert problems == []
    assert isinstance(table, ThresholdSet)
    return table


def at(table: ThresholdSet, line: str, age: int, days: int = 280) -> tuple[Fraction | None, Fraction | None]:
    return threshold(table, line, Interval.one(age, age), Interval.one(days, days)).span()


@pytest.mark.parametrize(
    ("between", "light", "blood"),
    [
        ("straight", 150, 250),
        ("step", 100, 200),
        ({"exchange": "step"}, 150, 200),
        ({"phototherapy": "step", "exchange": "straight"}, 100, 250),
    ],
)
def test_each_line_runs_as_the_header_says(between: Any, light: int, blood: int) -> None:
    table = made(between=between)
    assert at(table, "phototherapy", 5) == (light, light)
    assert at(table, "exchange", 5) == (blood, blood)


def test_a_one_way_line_is_known_above_and_never_below() -> None:
    table = made(one_way="above")
    line = threshold(table, "phototherapy", Interval.one(10, 10), Interval.one(280, 280))
    assert line.span() == (None, 200)
    assert beyond(Interval.one(201, 201), line, table.strict) == (True, True)
    assert beyond(Interval.one(1, 1), line, table.strict) == (False, True)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"between": {"plasma": "step"}}, "names a line that the set has not"),
        ({"between": "curved"}, "straight"),
        ({"one_way": "below"}, "above"),
        ({"near": -1}, "too low (found -1)"),
        ({"younger": "other"}, "give 'near' too"),
    ],
)
def test_a_header_that_is_wrong_is_refused(more: dict[str, Any], says: str) -> None:
    table, problems = load_table({**HEADER, **more}, ROWS, "tables/invented.csv")
    assert table is None
    assert any(says in problem.message for problem in problems)


@pytest.mark.parametrize("younger", ["nowhere", "wet"])
def test_a_younger_set_that_is_no_set_of_the_pack_is_refused(tmp_path: Path, younger: str) -> None:
    folder = copied(tmp_path, ("tables/invented-lines.yaml", "", f"near: 3\nyounger: {younger}\n"))
    with pytest.raises(PackError) as caught:
        load_pack(folder)
    [problem] = caught.value.problems
    assert (problem.file, problem.code) == ("tables/invented-lines.yaml", "threshold-set")
    assert f"names '{younger}'" in problem.message
