"""Orders of work: each leads past every area once, and places no finding twice."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.small_pack import Edit, copied

from layette.engine import load_pack
from layette.engine.errors import PackError

NAMED: Edit = ("pack.yaml", "jurisdiction: none", "jurisdiction: none\norders: orders.yaml")
WORDS = "{en: a, es: b}"


def order(steps: str) -> list[Edit]:
    return [NAMED, ("orders.yaml", "*", f"orders:\n  one:\n    label: {WORDS}\n    steps: {steps}\n")]


def own(name: str, findings: str) -> str:
    return f"{{name: {name}, label: {WORDS}, step: {WORDS}, findings: [{findings}]}}"


def test_an_order_with_a_step_of_its_own_is_kept_as_it_is_written(tmp_path: Path) -> None:
    made = load_pack(copied(tmp_path, *order(f"[{own('quiet', 'temperature')}, exam]"))).orders["one"]
    assert made.areas == ["exam"]
    assert [one.findings for one in made.own] == [["temperature"]]


@pytest.mark.parametrize(
    ("steps", "says", "code"),
    [
        ("[exam, exam]", "names twice the area 'exam'", "shape"),
        (f"[{own('quiet', 'temperature')}]", "leaves out the area 'exam'", "shape"),
        ("[exam, exams]", "'exams' is no area of the findings; did you mean 'exam'?", "unknown-finding"),
        (f"[exam, {own('exam', 'weight')}]", "two steps are named 'exam'", "duplicate-id"),
        (f"[exam, {own('a', 'weight')}, {own('b', 'weight')}]", "'weight' stands in two steps", "duplicate-id"),
        (f"[exam, {own('a', 'weigth')}]", "no finding 'weigth' is defined; did you mean 'weight'?", "unknown-finding"),
    ],
)
def test_an_order_that_leaves_out_or_repeats_is_refused(steps: str, says: str, code: str, tmp_path: Path) -> None:
    with pytest.raises(PackError) as refused:
        load_pack(copied(tmp_path, *order(steps)))
    assert [one for one in refused.value.problems if says in one.message and one.code == code]


def test_what_is_asked_alone_stands_in_no_step(tmp_path: Path) -> None:
    private = ("findings/exam.yaml", "    label: Temperature\n", "    label: Temperature\n    private: true\n")
    with pytest.raises(PackError, match="'temperature' is private"):
        load_pack(copied(tmp_path, private, *order(f"[exam, {own('a', 'temperature')}]")))
