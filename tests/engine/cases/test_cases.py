"""Worked cases run as tests of a pack: what they find, and which rules they have shown."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from support.small_pack import FOLDER, copied, small

from layette.engine import Pack, load_pack
from layette.engine.cases.cases import Expect

CASES = "cases/exam.yaml"
GIVEN: dict[str, Any] = {
    "born": "2026-11-20T08:00:00-06:00",
    "at": "2026-11-24T10:00:00-06:00",
    "findings": {
        "weight": {"value": 2.79, "unit": "kg"},
        "birth_weight": {"value": 3.0, "unit": "kg"},
        "barlow.left": "positive",
        "alertness": "alert",
        "temperature": {"value": 36.8, "unit": "Cel"},
    },
}
TRUE: dict[str, Any] = {
    "recommend": [
        {"target": "weight_recheck", "priority": "routine", "rule": "exam.loss-7", "status": "fired"},
        {"target": "hip_again", "side": "left", "status": "provisional"},
    ],
    "provisional": ["hip_again"],
    "undecided": ["exam.red-reflex-abnormal", "exam.barlow-first@right"],
    "ruled_out": ["exam.loss-10", "exam.fever"],
    "measures": {"weight_loss": "7.0 %", "age_h": 98},
    "conclusions": {"danger_sign": "no"},
    "due": {"exam.bloodspot": "overdue"},
    "none": ["ophthalmology"],
    "settled": ["feeding_assessment"],
}
WRONG: list[tuple[str, dict[str, Any], str]] = [
    ("a target that is not proposed", {"recommend": [{"target": "ophthalmology"}]}, "found nothing for it"),
    ("another priority", {"recommend": [{"target": "weight_recheck", "priority": "stat"}]}, "weight_recheck routine"),
    ("another side", {"recommend": [{"target": "hip_again", "side": "right"}]}, "expected {'target': 'hip_again'"),
    ("another rule", {"recommend": [{"target": "weight_recheck", "rule": "exam.loss-10"}]}, "weight_recheck routine"),
    ("another status", {"recommend": [{"target": "weight_recheck", "status": "provisional"}]}, "weight_recheck"),
    ("not provisional", {"provisional": ["weight_recheck"]}, "a provisional reason for 'weight_recheck'"),
    ("not undecided", {"undecided": ["exam.loss-7"]}, "expected exam.loss-7 undecided, found fired"),
    ("not ruled out", {"ruled_out": ["exam.loss-7"]}, "expected exam.loss-7 ruled out, found fired"),
    ("applicable", {"not_applicable": ["exam.loss-10"]}, "expected exam.loss-10 not applicable, found ruled out"),
    ("evaluated", {"cannot_evaluate": ["exam.light"]}, "expected exam.light not to be evaluated"),
    ("another value", {"measures": {"weight_loss": "7.1 %"}}, "expected weight_loss = 7.1 %, found 7.0 %"),
    ("another number", {"measures": {"age_h": 97}}, "expected age_h = 97, found 98.0 h"),
    ("no value", {"measures": {"light_line": 5}}, "expected light_line = 5, found nothing"),
    ("another conclusion", {"conclusions": {"danger_sign": "yes"}}, "expected danger_sign yes, found no"),
    ("not due so", {"due": {"exam.bloodspot": "later"}}, "expected exam.bloodspot later, found overdue"),
    ("proposed after all", {"none": ["weight_recheck"]}, "expected no recommendation for 'weight_recheck'"),
    ("not settled", {"settled": ["ophthalmology"]}, "expected 'ophthalmology' to be settled"),
]


def case(expect: dict[str, Any], name: str = "more", **more: Any) -> dict[str, Any]:
    return {"id": name, "title": "A case", "source": "invented", "given": GIVEN, "expect": expect, **more}


def pack_of(place: Path, *cases: Any) -> Pack:
    return load_pack(copied(place, (CASES, "*", json.dumps(list(cases)))))


def test_a_case_that_is_right_passes(tmp_path: Path) -> None:
    report = pack_of(tmp_path, case(TRUE)).run_cases()
    assert (report.passed, report.failures, report.problems) == (1, [], [])


@pytest.mark.parametrize(("expect", "says"), [pytest.param(e, s, id=name) for name, e, s in WRONG])
def test_a_case_that_is_wrong_is_told_with_what_was_found(expect: dict[str, Any], says: str, tmp_path: Path) -> None:
    report = pack_of(tmp_path, case(expect)).run_cases()
    assert report.passed == 0
    assert [label for label, _ in report.failures] == ["more (cases/exam.yaml:1)"]
    assert says in report.failures[0][1]


def test_every_key_of_an_expectation_is_tested_both_ways() -> None:
    keys = set(Expect.model_fields)
    assert {key for _, expect, _ in WRONG for key in expect} == keys
    assert set(TRUE) >= keys - {"not_applicable", "cannot_evaluate"}


def test_all_that_is_wrong_with_a_case_is_told(tmp_path: Path) -> None:
    both = {"none": ["weight_recheck"], "undecided": ["exam.loss-7"]}
    assert len(pack_of(tmp_path, case(both)).run_cases().failures) == 2


def test_a_visit_that_cannot_be_used_fails_its_case_alone(tmp_path: Path) -> None:
    broken = {**case({}), "given": {**GIVEN, "findings": {"weight": 3}}}
    report = pack_of(tmp_path, broken, case(TRUE, "other")).run_cases()
    assert report.passed == 1
    assert "a number needs its unit" in report.failures[0][1]


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        (case({"undecided": ["exam.fewer"]}), "unknown-rule"),
        (case({"due": {"exam.fewer": "due"}}), "unknown-rule"),
        (case({"none": ["optometry"]}), "unknown-target"),
        (case({"recommend": [{"target": "optometry"}]}), "unknown-target"),
        (case({"measures": {"height": 5}}), "unknown-finding"),
        (case({"recommended": []}), "shape"),
        ({"id": "more"}, "shape"),
    ],
)
def test_a_case_that_names_what_does_not_exist_is_a_problem(changed: dict[str, Any], code: str, tmp_path: Path) -> None:
    found = pack_of(tmp_path, changed).run_cases().problems
    assert {p.code for p in found} == {code}
    assert {p.file for p in found} == {CASES}


def test_two_cases_of_one_id_are_a_problem(tmp_path: Path) -> None:
    found = pack_of(tmp_path, case({}), case({})).run_cases().problems
    assert [(p.code, p.key) for p in found] == [("duplicate-id", "$[1].id")]
    assert found[0].message == "the case 'more' stands already at cases/exam.yaml:1"


def test_the_report_counts_what_each_rule_was_seen_to_be(tmp_path: Path) -> None:
    report = pack_of(tmp_path, case({}), case({}, "again")).run_cases()
    seen = report.seen["exam.loss-7"]
    assert (seen.fired, seen.ruled_out, seen.undecided) == (2, 0, 0)
    assert report.seen.keys() == small().rules.keys()
    assert set(report.unseen["exam.loss-7"]) == {"ruled out", "undecided"}
    assert set(report.unseen["exam.light"]) == {"fired", "ruled out"}
    first = report.seen["exam.barlow-first"]
    assert (first.fired, first.undecided) == (2, 4), "left is provisional, which counts as both; right is undecided"


def test_the_cases_of_the_small_pack_pass() -> None:
    report = load_pack(FOLDER).run_cases()
    assert report.failures == []
    assert report.passed == 1
