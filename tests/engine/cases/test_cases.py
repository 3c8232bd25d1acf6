"""Worked cases run as tests of a pack: what they find, and which rules they have shown."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from support.small_pack import FOLDER, copied, rule, small

from layette.engine import InputError, Pack, load_pack
from layette.engine.cases.written import Expect
from layette.engine.logic.conditions import Status
from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import Reading

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
    "history": {
        "orders": [
            {"target": "oxygen_evaluation", "status": "active", "priority": "stat", "time": "2026-11-21T10:00:00-06:00"}
        ]
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
    "to_judge": ["feeding_assessment"],
    "not_to_judge": ["phototherapy"],
    "to_chase": ["oxygen_evaluation"],
}
JUDGED = rule("""
- id: exam.loss-to-judge
  when: {weight_loss: {at_least: 7}}
  then: [{judge: feeding_assessment, priority: asap}]
""")
LINES = (("high", 350), ("low", 250))
WRONG: list[tuple[str, dict[str, Any], str]] = [
    ("a target that is not proposed", {"recommend": [{"target": "ophthalmology"}]}, "found nothing for it"),
    (
        "another priority",
        {"recommend": [{"target": "weight_recheck", "priority": "stat"}]},
        "expected weight_recheck stat, found weight_recheck routine by exam.loss-7 fired",
    ),
    (
        "another side",
        {"recommend": [{"target": "hip_again", "side": "right"}]},
        "expected hip_again right, found hip_again urgent left by exam.barlow-first provisional",
    ),
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
    ("not judged", {"to_judge": ["phototherapy"]}, "expected 'phototherapy' to be judged, found feeding_assessment"),
    ("not chased", {"to_chase": ["phototherapy"]}, "expected 'phototherapy' to be chased, found oxygen_evaluation"),
    ("judged", {"not_to_judge": ["feeding_assessment"]}, "expected nothing to be judged for 'feeding_assessment'"),
    ("not settled", {"settled": ["ophthalmology"]}, "expected 'ophthalmology' to be settled"),
]


def case(expect: dict[str, Any], name: str = "more", **more: Any) -> dict[str, Any]:
    return {"id": name, "title": "A case", "source": "invented", "given": GIVEN, "expect": expect, **more}


def pack_of(place: Path, *cases: Any) -> Pack:
    return load_pack(copied(place, JUDGED, (CASES, "*", json.dumps(list(cases)))))


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
        (case({"recommend": [{"target": "weight_recheck", "rule": "exam.loss-8"}]}), "unknown-rule"),
        (case({"conclusions": {"danger_sing": "no"}}), "unknown-finding"),
        (case({}, source=["invented", "inwented"]), "unknown-source"),
        (case({"none": ["optometry"]}), "unknown-target"),
        (case({"to_judge": ["optometry"]}), "unknown-target"),
        (case({"to_chase": ["optometry"]}), "unknown-target"),
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


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        (case({"conclusions": {"danger_sing": "no"}}), "no conclusion 'danger_sing'; did you mean 'danger_sign'?"),
        (case({"undecided": ["exam.fewer@left"]}), "no rule 'exam.fewer@left'; did you mean 'exam.fever'"),
    ],
)
def test_the_nearest_name_is_said(changed: dict[str, Any], says: str, tmp_path: Path) -> None:
    [problem] = pack_of(tmp_path, changed).run_cases().problems
    assert says in problem.message


@pytest.mark.parametrize("text", ["", "[]", "cases: []", "# none yet"])
def test_a_file_of_cases_without_cases_is_a_problem(text: str, tmp_path: Path) -> None:
    [problem] = load_pack(copied(tmp_path, (CASES, "*", text))).run_cases().problems
    assert (problem.file, problem.code) == (CASES, "shape")
    assert "with one at least" in problem.message


def test_a_table_for_a_choice_that_no_setting_has_is_a_problem(tmp_path: Path) -> None:
    found = pack_of(tmp_path, case({}, tables={"site-line": "high"})).run_cases().problems
    assert (
        "there is no setting 'site-line'; did you mean 'site-lines'"
        in {p.code: p.message for p in found}["unknown-setting"]
    )


def test_two_cases_of_one_id_are_a_problem(tmp_path: Path) -> None:
    found = pack_of(tmp_path, case({}), case({})).run_cases().problems
    assert [(p.code, p.key) for p in found] == [("duplicate-id", "$[1].id")]
    assert found[0].message == "the case 'more' stands already at cases/exam.yaml:1"


def test_the_report_counts_what_each_rule_was_seen_to_be(tmp_path: Path) -> None:
    report = pack_of(tmp_path, case({}), case({}, "again")).run_cases()
    seen = report.seen["exam.loss-7"]
    assert (seen.fired, seen.ruled_out, seen.undecided) == (2, 0, 0)
    assert report.seen.keys() == {*small().rules, "exam.loss-to-judge"}
    assert set(report.unseen["exam.loss-7"]) == {"ruled out", "undecided"}
    assert set(report.unseen["exam.light"]) == {"fired", "ruled out"}
    first = report.seen["exam.barlow-first"]
    assert (first.fired, first.undecided) == (2, 4), "left is provisional, which counts as both; right is undecided"


def test_readers_that_disagree_fail_the_case_and_are_named(tmp_path: Path) -> None:
    class Faulty(NativeReader):
        name = "faulty"

        def read(self, states: Sequence[int]) -> Reading:
            right = super().read(states)
            return Reading((Status.FIRED, *right.statuses[1:]), right.states)

    pack = pack_of(tmp_path, case({}))
    readers = (NativeReader(pack.program), Faulty(pack.program))
    object.__setattr__(pack, "readers", lambda names=None: readers)
    report = pack.run_cases()
    assert report.passed == 0
    assert "two readers of the rules disagree" in report.failures[0][1]
    assert not any(seen.fired for seen in report.seen.values()), "what is not agreed on shows nothing"


def test_each_case_has_the_tables_that_it_names(tmp_path: Path) -> None:
    def own(stem: str, name: str, line: int) -> dict[str, Any]:
        findings = {"serum_bilirubin": {"value": 250, "unit": "umol/L"}, "gestational_age": {"value": 38, "unit": "wk"}}
        given = {**GIVEN, "findings": findings, "settings": {"lines_set": "site-lines"}}
        return case({"measures": {"light_line": line}}, name, given=given, tables={"site-lines": stem})

    cases = [own("high", "first", 350), own("low", "second", 250), own("high", "third", 350), own("low", "fourth", 350)]
    header = (FOLDER / "tables/invented-lines.yaml").read_text()
    tables = [(f"cases/{stem}.yaml", "*", header) for stem in ("high", "low")]
    lines = [(f"cases/{stem}.csv", "*", f"age_hours,light,exchange\n0,{n},400\n336,{n},400\n") for stem, n in LINES]
    listed = ("pack.yaml", "cases: [exam.yaml]", "cases: [exam.yaml]\ncase_tables: [high.yaml, low.yaml]")
    report = load_pack(copied(tmp_path, (CASES, "*", json.dumps(cases)), *tables, *lines, listed)).run_cases()
    assert report.problems == []
    [(label, difference)] = report.failures
    assert label.startswith("fourth ")
    assert difference.startswith("expected light_line = 350, found 250")


AREAS = ["care", "exam", "more"]
OTHER = case({"ruled_out": ["exam.fever"], "none": ["weight_recheck"]}, "other")
MORE = [case({"undecided": ["care.cord"]}, "cord"), case({"none": ["weight_recheck"]}, "wrong")]


@pytest.fixture(scope="module")
def areas(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    """A pack with two files of cases, one case of each wrong."""
    edits = [(CASES, "*", json.dumps([OTHER])), ("cases/more.yaml", "*", json.dumps(MORE))]
    listed = ("pack.yaml", "cases: [exam.yaml]", "cases: [exam.yaml, more.yaml]")
    return load_pack(copied(tmp_path_factory.mktemp("areas"), *edits, listed))


@pytest.mark.parametrize(
    ("only", "passed", "failed", "rules"),
    [
        pytest.param("exam", 1, ["other"], "exam.", id="rules, cases and findings of one name"),
        pytest.param("care", 1, [], "care.", id="rules whose cases are in another file"),
        pytest.param("more", 1, ["wrong"], "care.", id="cases whose rules are in another file"),
    ],
)
def test_one_area_is_its_rules_and_the_cases_about_them(
    areas: Pack, only: str, passed: int, failed: list[str], rules: str
) -> None:
    whole, part = areas.run_cases(), areas.run_cases(only)
    assert (whole.only, part.only) == (None, only)
    assert (part.passed, [label.split()[0] for label, _ in part.failures]) == (passed, failed)
    assert set(part.failures) <= set(whole.failures)
    assert [rule for rule in part.seen if rule.startswith(rules)] == [r for r in areas.rules if r.startswith(rules)]
    assert part.seen == {rule: whole.seen[rule] for rule in part.seen}, "counted over all cases"
    assert part.unseen == {rule: lacking for rule, lacking in whole.unseen.items() if rule in part.seen}


def test_an_area_without_what_all_cases_show_of_it_reads_its_own_cases_alone(areas: Pack) -> None:
    whole, alone = areas.run_cases("more"), areas.run_cases("more", seen=False)
    assert (alone.passed, alone.failures) == (whole.passed, whole.failures)
    assert sum(seen.fired + seen.ruled_out + seen.undecided for seen in alone.seen.values()) < sum(
        seen.fired + seen.ruled_out + seen.undecided for seen in whole.seen.values()
    )


@pytest.mark.parametrize("only", [None, "exam"])
def test_cases_shared_out_among_processes_give_the_same_report(areas: Pack, only: str | None) -> None:
    assert areas.run_cases(only, processes=3) == areas.run_cases(only)


def test_an_area_of_the_findings_has_the_rules_that_test_them(areas: Pack) -> None:
    cord = [name for area in areas.areas for name in area.findings if name == "cord_attached"]
    assert cord == ["cord_attached"]
    assert "care.cord" in areas.run_cases("exam").seen


@pytest.mark.parametrize("only", ["exams", "", "exam.yaml"])
def test_an_area_that_does_not_exist_is_an_error_that_lists_those_that_do(areas: Pack, only: str) -> None:
    with pytest.raises(InputError) as caught:
        areas.run_cases(only)
    [problem] = caught.value.problems
    assert (problem.path, problem.code, problem.value) == ("only", "setting", only)
    assert problem.expected == "one of " + ", ".join(AREAS)


def test_a_faulty_case_of_another_area_is_left_to_that_area(tmp_path: Path) -> None:
    faulty = {**case({}, "faulty"), "given": {**GIVEN, "findings": {"weight": 3}}}
    edits = [(CASES, "*", json.dumps([faulty])), ("cases/more.yaml", "*", json.dumps(MORE[:1]))]
    listed = ("pack.yaml", "cases: [exam.yaml]", "cases: [exam.yaml, more.yaml]")
    report = load_pack(copied(tmp_path, *edits, listed)).run_cases("more")
    assert (report.passed, report.failures) == (1, [])


def test_the_cases_of_the_small_pack_pass() -> None:
    report = load_pack(FOLDER).run_cases()
    assert report.failures == []
    assert report.passed == 1
