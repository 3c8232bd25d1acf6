"""From recordings to what is still possible: views, sides, ages, complete histories, what does not apply."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.small_pack import Edit, assess, copied, rule, statuses, visit

from layette.engine import Pack, load_pack
from layette.engine.answer.parts.assessment import Assessment


def status(found: Assessment, name: str = "exam.more") -> str:
    return statuses(found)[name]


def pack_with(place: Path, when: str, *edits: Edit, **more: str) -> Pack:
    keys = "".join(f"\n  {key}: {value}" for key, value in more.items())
    return load_pack(copied(place, rule(f"- id: exam.more\n  when: {when}{keys}"), *edits))


def of(pack: Pack, findings: dict[str, Any] | None = None, **parts: Any) -> str:
    return status(pack.assess(visit(findings, **parts), readers=["native"]))


def cel(value: Any, **fields: Any) -> dict[str, Any]:
    return {"value": value, "unit": "Cel", **fields}


FEVER = "exam.fever"
"""`temperature.highest` of at least 38 over 24 h."""


@pytest.mark.parametrize(
    ("temperatures", "expected"),
    [
        ([], "undecided"),
        ([cel(38)], "fired"),
        ([cel(37.9)], "ruled out"),
        ([cel(38, age="80 h"), cel(36.9)], "fired"),
        ([cel(39, age="74 h"), cel(36.9)], "fired"),
        ([cel(39, time="2026-11-23T09:59:59-06:00"), cel(36.9)], "ruled out"),
        ([cel(39, age="2 h")], "undecided"),
        ([{"value": 100.4, "unit": "[degF]"}], "fired"),
        ([{"value": 100.3, "unit": "[degF]"}], "ruled out"),
        ([cel({"at_least": 38.5})], "fired"),
        ([cel({"between": [37.5, 38.5]})], "undecided"),
        ([cel({"more_than": 37})], "undecided"),
        ([cel({"below": 38})], "ruled out"),
        ([cel({"at_most": 38})], "undecided"),
        ([cel(39, time="2026-11-23"), cel(36.9)], "undecided"),
        ([cel(39, status="entered-in-error"), cel(36.9)], "ruled out"),
        ([{"absent": "not-performed"}], "undecided"),
    ],
)
def test_the_highest_of_a_day_counts_both_ends_and_nothing_outside(temperatures: list[Any], expected: str) -> None:
    assert status(assess({"temperature": temperatures}), FEVER) == expected


def test_a_fever_at_home_stays_a_fever() -> None:
    history = {"findings": {"temperature": cel(38.4, age="90 h")}}
    assert status(assess({"temperature": cel(36.9)}, history=history), FEVER) == "fired"


@pytest.mark.parametrize(
    ("view", "expected"),
    [("any", ("fired", "ruled out", "undecided")), ("every", ("ruled out", "ruled out", "undecided"))],
)  # fmt: skip
def test_any_and_every_look_at_each_recording_of_a_time(view: str, expected: tuple[str, ...], tmp_path: Path) -> None:
    pack = pack_with(tmp_path, f"{{alertness.{view}: {{is: [sleepy, hard_to_wake], over: 24 h}}}}")
    once = [{"value": "sleepy", "age": "90 h"}, "alert"]
    old = [{"value": "sleepy", "age": "50 h"}, "alert"]
    assert (of(pack, {"alertness": once}), of(pack, {"alertness": old}), of(pack)) == expected
    assert of(pack, {"alertness": [{"value": "sleepy", "age": "90 h"}, "hard_to_wake"]}) == "fired"


def test_a_coarse_value_leaves_open_what_it_does_not_say() -> None:
    assert status(assess({"red_reflex.left": "abnormal"}), "exam.red-reflex-abnormal") == "fired"
    assert status(assess({"alertness": "abnormal"}), "exam.danger") == "undecided"
    found = assess({"alertness": "abnormal", "temperature": cel(37)})
    question = next(q for step in found.steps for q in step.questions if q.finding == "alertness")
    assert (question.state, question.reason) == ("too loose", "abnormal")


SIDED = {
    "either": {("p", "n"): "fired", ("n", "n"): "ruled out", ("n", ""): "undecided", ("p", ""): "fired"},
    "both": {("p", "p"): "fired", ("p", "n"): "ruled out", ("p", ""): "undecided", ("n", ""): "ruled out"},
    "one_only": {("p", "n"): "fired", ("p", "p"): "ruled out", ("n", "n"): "ruled out", ("p", ""): "undecided"},
    "left": {("p", ""): "fired", ("n", "p"): "ruled out", ("", "p"): "undecided"},
}
WORDS = {"p": "positive", "n": "negative"}


@pytest.mark.parametrize(
    ("view", "sides", "expected"), [(v, s, e) for v, cases in SIDED.items() for s, e in cases.items()]
)
def test_sides(view: str, sides: tuple[str, str], expected: str, tmp_path: Path) -> None:
    pack = pack_with(tmp_path, f"{{barlow.{view}: positive}}")
    found = {f"barlow.{s}": WORDS[v] for s, v in zip(("left", "right"), sides, strict=True) if v}
    assert of(pack, found) == expected


@pytest.mark.parametrize(
    ("left", "right", "expected"),
    [
        ("present", "dull", "fired"), ("dull", "dull", "ruled out"), ("present", "", "undecided"),
        ("abnormal", "present", "fired"), ("abnormal", "white", "undecided"), ("abnormal", "abnormal", "undecided"),
    ],
)  # fmt: skip
def test_unequal_sides(left: str, right: str, expected: str, tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "{red_reflex.unequal: true}")
    found = {f"red_reflex.{s}": v for s, v in (("left", left), ("right", right)) if v}
    assert of(pack, found) == expected


BOTH = "exam.testes-both-not-felt"


@pytest.mark.parametrize(
    ("sex", "left", "right", "expected"),
    [
        ("female", None, None, "ruled out"),
        ("male", None, None, "undecided"),
        ("unknown", None, None, "undecided"),
        ("male", "not_felt", "not_felt", "fired"),
        ("unknown", "not_felt", "not_felt", "undecided"),
        ("male", "not_felt", None, "undecided"),
        ("male", "not_felt", "in_scrotum", "ruled out"),
        ("male", "not_felt", {"absent": "not-applicable"}, "fired"),
        ("male", {"absent": "not-applicable"}, {"absent": "not-applicable"}, "ruled out"),
        ("male", "not_felt", {"absent": "not-performed"}, "undecided"),
    ],
)
def test_what_does_not_apply_is_neither_normal_nor_unknown(sex: str, left: Any, right: Any, expected: str) -> None:
    found = {f"testis.{s}": v for s, v in (("left", left), ("right", right)) if v is not None}
    assert status(assess(found, sex_at_birth=sex), BOTH) == expected


def test_what_does_not_apply_is_never_outstanding() -> None:
    asked = {q.finding for step in assess(sex_at_birth="female").steps for q in step.questions}
    assert "testis" not in asked
    assert "testis" in {q.finding for step in assess(sex_at_birth="male").steps for q in step.questions}


def test_a_guard_may_look_at_a_finding(tmp_path: Path) -> None:
    guard: Edit = (
        "findings/exam.yaml", "label: Cord still attached",
        'label: Cord still attached\n    applies_when: {mother_fever: "yes"}',
    )  # fmt: skip
    pack = pack_with(tmp_path, '{cord_attached: "no"}', guard)
    expected = {"yes": "fired", "no": "ruled out", None: "undecided"}
    for fever, wanted in expected.items():
        found = {"cord_attached": "no", **({"mother_fever": fever} if fever else {})}
        assert of(pack, found) == wanted


@pytest.mark.parametrize(("age", "expected"), [("23 h", "fired"), ("24 h", "ruled out"), (None, "undecided")])
def test_the_age_at_a_reading_is_that_readings_own(age: str | None, expected: str, tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "{serum_bilirubin: {at_least: 5}, serum_bilirubin.age: {below: 24 h}}")
    found = {"serum_bilirubin": {"value": 8, "unit": "mg/dL", "age": age}} if age else {}
    assert of(pack, found) == expected


def test_a_birth_known_to_the_day_leaves_the_age_open(tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "{serum_bilirubin.age: {below: 24 h}}")
    found = {"serum_bilirubin": {"value": 8, "unit": "mg/dL", "time": "2026-11-21T06:00:00-06:00"}}
    assert of(pack, found, born="2026-11-20") == "undecided"
    assert of(pack, found, born="2026-11-20T07:00:00-06:00") == "fired"


AGAIN = "exam.barlow-again@left"


@pytest.mark.parametrize(
    ("age", "complete", "expected"),
    [
        ("1 h", [], "fired"),
        ("26 h", [], "ruled out"),
        (None, [], "undecided"),
        (None, ["observations"], "ruled out"),
        (None, ["orders"], "undecided"),
        ("1 h", ["observations"], "fired"),
    ],
)
def test_an_earlier_finding_and_a_complete_history(age: str | None, complete: list[str], expected: str) -> None:
    """Two weeks after the first hour of life; without an earlier finding it depends on what the history claims."""
    past = {"findings": {"barlow.left": {"value": "positive", "age": age}}} if age else {}
    found = assess({"barlow.left": "positive"}, at="2026-12-04T09:00:00-06:00", history=past, history_complete=complete)
    assert statuses(found)[AGAIN] == expected


@pytest.mark.parametrize(("complete", "expected"), [([], "provisional"), (["observations"], "fired")])
def test_a_complete_history_says_nothing_of_what_is_found_now(complete: list[str], expected: str) -> None:
    found = assess({"barlow.left": "positive", "red_reflex.left": "white"}, history_complete=complete)
    assert statuses(found)["exam.barlow-first@left"] == expected
    assert statuses(found)["exam.red-reflex-abnormal"] == "fired"


def test_a_provisional_rule_names_what_would_replace_it() -> None:
    found = assess({"barlow.left": "positive"})
    assert statuses(found)["exam.barlow-first@left"] == "provisional"
    recheck = next(r for r in found.recommendations if r.target == "hip_again")
    assert (recheck.side, recheck.certain, recheck.reasons[0].status) == ("left", None, "provisional")
    assert recheck.reasons[0].unless == ("Barlow test, left at an earlier visit",)


def test_recorded_is_true_or_undecided_and_never_false(tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "{weight: {recorded: true}}")
    assert of(pack) == "undecided"
    assert of(pack, {"weight": {"absent": "not-performed"}}) == "undecided"
    assert of(pack, {"weight": {"value": 3, "unit": "kg"}}) == "fired"


def test_a_qualifier_is_that_of_the_reading(tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "{temperature: {at_least: 38}, temperature.route: rectal}")
    assert of(pack, {"temperature": cel(38.2, route="rectal")}) == "fired"
    assert of(pack, {"temperature": cel(38.2, route="axillary")}) == "ruled out"
    assert of(pack, {"temperature": cel(38.2)}) == "undecided"


LIGHT = "exam.light"


@pytest.mark.parametrize(
    ("value", "unit", "weeks", "expected"),
    [
        (300, "umol/L", 39, "ruled out"), (301, "umol/L", 39, "fired"), (20, "mg/dL", 39, "fired"),
        (20, "mg/dL", None, "fired"),
        (17, "mg/dL", None, "undecided"), (20, "mg/dL", 37, "fired"), (5, "mg/dL", 37, "undecided"),
    ],
)  # fmt: skip
def test_a_line_is_beyond_its_own_comparison_and_below_its_gestations_undecided(
    value: float, unit: str, weeks: int | None, expected: str
) -> None:
    found: dict[str, Any] = {"serum_bilirubin": {"value": value, "unit": unit}}
    if weeks:
        found["gestational_age"] = {"value": weeks, "unit": "wk"}
    assert status(assess(found), LIGHT) == expected


def test_a_setting_brings_its_bounds() -> None:
    ten = {"weight": {"value": 2.7, "unit": "kg"}, "birth_weight": {"value": 3.0, "unit": "kg"}}
    assert status(assess(ten), "exam.loss-10") == "fired"
    assert status(assess(ten, settings={"loss_limit": "more-than-10"}), "exam.loss-10") == "ruled out"


def test_due_things_come_from_until_an_age_and_what_counts_as_having_them() -> None:
    def state(**parts: Any) -> str:
        found = assess(**parts)
        return next((d.state for d in found.due if d.rule == "exam.bloodspot"), "not due")

    early = {"born": "2026-11-24T00:00:00-06:00"}
    assert state(**early) == "later"
    assert state(born="2026-11-23T00:00:00-06:00") == "due"
    assert state() == "overdue"
    past = {"findings": {"bloodspot": {"value": "taken", "age": "24 h"}}}
    assert state(history=past) == "not due"
    assert state(history={"findings": {"bloodspot": {"value": "taken", "age": "23 h"}}}) == "overdue"


def test_where_an_earlier_value_is_missing_the_exact_one_of_today_is_not_too_loose(tmp_path: Path) -> None:
    rise = ("measures.yaml", "", "rise: {compute: change_per_hour, label: Rise, of: serum_bilirubin}\n")
    rule = """
- id: exam.rise
  title: Rises
  when: {rise: {at_least: 0.3}}
  then: [{refer: ophthalmology, priority: urgent}]
  because: For tests.
  source: invented
"""
    pack = load_pack(copied(tmp_path, rise, ("decisions/exam.yaml", "", rule)))
    found = pack.assess(visit({"serum_bilirubin": {"value": 15, "unit": "mg/dL"}}), readers=["native"])
    assert [q.state for step in found.steps for q in step.questions if q.finding == "serum_bilirubin"] == []
    assert [t.open for t in found.trace if t.rule == "exam.rise"] == [("Serum bilirubin at an earlier visit",)]
    loose = pack.assess(visit({"serum_bilirubin": {"value": {"more_than": 15}, "unit": "mg/dL"}}), readers=["native"])
    states = [q.state for step in loose.steps for q in step.questions if q.finding == "serum_bilirubin"]
    assert states == ["too loose"]
