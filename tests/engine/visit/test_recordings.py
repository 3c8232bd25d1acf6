"""Which of several recordings a view looks at, which it leaves aside, and what it says of that."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from support.small_pack import assess, small, statuses, visit

from layette.engine import Assessment, InputError
from layette.engine.exact.ranges import Range
from layette.engine.visit.recordings import Chosen, Readings


def readings(findings: dict[str, Any] | None = None, **parts: Any) -> Readings:
    return Readings(small().read_visit(visit(findings, **parts)), small().findings)


def given(chosen: Chosen) -> str | None:
    return chosen.valued.given if chosen.valued else None


def kg(value: float, **fields: Any) -> dict[str, Any]:
    return {"value": value, "unit": "kg", **fields}


def test_the_latest_counts_whatever_the_order_and_the_rest_is_told() -> None:
    items = [kg(3.0, age="90 h"), kg(2.9, age="96 h"), kg(3.1, age="80 h")]
    for order in (items, items[::-1]):
        chosen = readings({"weight": order}).latest("weight")
        assert given(chosen) == "2.9 kg"
        assert sorted(r.given for r in chosen.left) == ["3.0 kg", "3.1 kg"]
        assert chosen.why == "the latest counts"


@pytest.mark.parametrize(
    ("first", "second", "used"),
    [
        ("preliminary", "final", "final"),
        ("final", "corrected", "corrected"),
        ("final", "amended", "amended"),
        ("unknown", "preliminary", "preliminary"),
    ],
)
def test_at_one_time_the_better_status_counts(first: str, second: str, used: str) -> None:
    values = {first: 2.8, second: 2.9}
    chosen = readings({"weight": [kg(v, status=s) for s, v in values.items()]}).latest("weight")
    assert given(chosen) == f"{values[used]} kg"
    assert chosen.why == "corrected before final before preliminary"


def test_a_later_preliminary_value_takes_nothing_back_and_waits() -> None:
    """Danger law 12: the less settled clears nothing, but may alarm."""
    items = [kg(2.9, status="corrected", age="80 h"), kg(2.8, status="preliminary", age="90 h")]
    chosen = readings({"weight": items}).latest("weight")
    assert given(chosen) == "2.9 kg"
    assert [r.given for r in chosen.pending] == ["2.8 kg"]


@pytest.mark.parametrize("later", [{"status": "preliminary"}, {"status": "registered"}, {"reported": True}])
def test_the_same_value_later_and_less_settled_waits_for_nothing(later: dict[str, Any]) -> None:
    chosen = readings({"weight": [kg(2.9, age="80 h"), kg(2.9, age="90 h", **later)]}).latest("weight")
    assert (given(chosen), chosen.pending) == ("2.9 kg", ())


def test_two_values_at_one_time_are_one_of_these_and_both_shown() -> None:
    """Danger law 10: never "not known", which would hide what either of them brings."""
    chosen = readings({"weight": [kg(2.8), kg(2.9)]}).latest("weight")
    assert chosen.differ
    assert given(chosen) == "2.8 kg or 2.9 kg"
    assert chosen.used is not None
    assert chosen.used.possible == Range(Fraction("2.8"), Fraction("2.9"))
    assert {r.given for r in chosen.members} == {"2.8 kg", "2.9 kg"}
    found = assess({"weight": [kg(2.8), kg(2.9)], "birth_weight": kg(3.3)})
    assert statuses(found)["exam.loss-10"] == "fired"
    assert found.warnings == ("Weight: recorded more than once at one time, differing: one of these",)


def test_what_only_one_of_two_values_brings_is_to_be_judged() -> None:
    found = assess({"weight": [kg(2.95), kg(3.1)], "birth_weight": kg(3.3)})
    assert statuses(found)["exam.loss-10"] == "undecided"
    judged = {one.target: one for one in found.to_judge}
    assert judged["feeding_assessment"].priority == "asap"
    assert {used.value for used in judged["feeding_assessment"].values} == {"2.95 kg", "3.1 kg"}


def test_the_same_value_twice_in_two_units_is_no_conflict() -> None:
    chosen = readings({"weight": [kg(2.9), {"value": 2900, "unit": "g"}]}).latest("weight")
    assert chosen.valued is not None
    assert not chosen.differ
    assert chosen.why == "the same value again"


@pytest.mark.parametrize(
    ("umol", "mg", "differ"),
    [(480, "28.1", False), (480, "28.9", True), (300, "17.5", False), (300, "17.7", True), (300, "17.60", True)],
)
def test_a_number_in_two_units_is_one_value_within_the_rounding_of_its_digits(umol: int, mg: str, differ: bool) -> None:
    """480 umol/L is 28.07 mg/dL: printed as 28.1 it is the same number."""
    items = [{"value": umol, "unit": "umol/L"}, {"value": mg, "unit": "mg/dL"}]
    assert readings({"serum_bilirubin": items}).latest("serum_bilirubin").differ is differ


def test_in_one_unit_only_equal_is_equal() -> None:
    assert readings({"weight": [kg(2.9), kg(2.91)]}).latest("weight").differ


@pytest.mark.parametrize("status", ["entered-in-error", "cancelled"])
def test_a_withdrawn_recording_is_listed_and_never_used(status: str) -> None:
    chosen = readings({"weight": [kg(2.5, status=status), kg(2.9, age="80 h")]}).latest("weight")
    assert given(chosen) == "2.9 kg"
    assert chosen.why == "withdrawn ones are never used"
    alone = readings({"weight": kg(2.5, status=status)}).latest("weight")
    assert alone.used is None
    assert alone.why == "withdrawn (entered in error or cancelled)"
    assert len(alone.left) == 1


@pytest.mark.parametrize("status", ["entered-in-error", "cancelled"])
def test_a_slip_that_was_taken_back_refuses_nothing_and_is_told(status: str) -> None:
    read = readings({"weight": [kg(195, status=status), kg(1.95, age="80 h")]})
    assert given(read.latest("weight")) == "1.95 kg"
    [told] = [warning for warning in read.visit.warnings if "taken back" in warning]
    assert told.startswith("findings.weight[0]: not physically possible")
    assert "195 kg" in told
    with pytest.raises(InputError, match="not physically possible"):
        readings({"weight": [kg(195), kg(1.95, age="80 h")]})


def test_an_attempt_without_a_value_counts_only_where_there_is_no_value() -> None:
    tried = {"absent": "not-performed"}
    chosen = readings({"alertness": [{"value": "sleepy", "age": "90 h"}, tried]}).latest("alertness")
    assert given(chosen) == "sleepy"
    alone = readings({"alertness": tried}).latest("alertness")
    assert alone.used is not None
    assert alone.used.absent == "not-performed"
    assert alone.valued is None
    found = assess({"alertness": tried})
    question = next(q for step in found.steps for q in step.questions if q.finding == "alertness")
    assert (question.state, question.reason) == ("attempted", "not-performed")


def test_an_examination_counts_only_for_its_own_visit() -> None:
    history = {"findings": {"red_reflex.left": {"value": "present", "age": "30 h"}}}
    chosen = readings(history=history).latest("red_reflex", "left")
    assert chosen.used is None
    assert chosen.why.startswith("from another visit: an examination counts only for the visit")
    assert statuses(assess(history=history))["exam.red-reflex-abnormal"] == "undecided"


def test_an_old_finding_is_not_a_present_emergency_either() -> None:
    history = {"findings": {"red_reflex.left": {"value": "white", "age": "30 h"}}}
    assert statuses(assess(history=history))["exam.red-reflex-abnormal"] == "undecided"


def test_a_birth_fact_of_another_visit_counts() -> None:
    history = {"findings": {"birth_weight": kg(3.3, age="0 h")}}
    assert given(readings(history=history).latest("birth_weight")) == "3.3 kg"
    assert statuses(assess({"weight": kg(2.9)}, history=history))["exam.loss-10"] == "fired"


def test_the_earlier_reading_is_the_last_one_of_another_visit() -> None:
    past = [{"value": "negative", "age": "1 h"}, {"value": "positive", "age": "2 h"}]
    found = readings({"barlow.left": "positive"}, history={"findings": {"barlow.left": past}})
    assert given(found.earlier("barlow", "left")) == "positive"
    assert found.earlier("barlow", "right").used is None


def test_all_values_come_one_a_time_the_latest_first() -> None:
    items = [kg(3.0, age="90 h"), kg(2.9, age="96 h"), kg(2.95, age="96 h", status="corrected")]
    past = {"findings": {"weight": kg(3.1, age="40 h")}}
    assert [r.given for r in readings({"weight": items}, history=past).latest_values("weight")] == [
        "2.95 kg",
        "3.0 kg",
        "3.1 kg",
    ]


def test_within_counts_both_ends_and_knows_what_only_may_lie_inside() -> None:
    def cel(value: float, **fields: Any) -> dict[str, Any]:
        return {"value": value, "unit": "Cel", **fields}

    items = [cel(37, age="98 h"), cel(38, age="74 h"), cel(39, time="2026-11-23T09:59:59-06:00")]
    surely, possibly = readings({"temperature": items}).within("temperature", "", 24 * 3600)
    assert sorted(r.given for r in surely) == ["37 Cel", "38 Cel"]
    assert surely == possibly
    day_only = [cel(38, time="2026-11-23")]
    surely, possibly = readings({"temperature": day_only}).within("temperature", "", 24 * 3600)
    assert surely == []
    assert [r.given for r in possibly] == ["38 Cel"]


# Attempts at a finding that is read in parts


def oximetry(*items: dict[str, Any]) -> list[dict[str, str]]:
    found = readings({"pulse_oximetry": [{"unit": "%", **item} for item in items]}).attempts("pulse_oximetry")
    return [{part: r.given for part, r in attempt.items()} for attempt in found]


def test_parts_read_within_ten_minutes_are_one_attempt() -> None:
    assert oximetry(
        {"hand": 97, "age": "26 h"},
        {"foot": 96, "time": "2026-11-21T10:10:00-06:00"},
        {"hand": 95, "foot": 94, "age": "27 h"},
    ) == [{"hand": "97 %", "foot": "96 %"}, {"hand": "95 %", "foot": "94 %"}]  # fmt: skip


def test_parts_read_later_than_that_are_two_attempts() -> None:
    late = {"foot": 96, "time": "2026-11-21T10:10:01-06:00"}
    assert oximetry({"hand": 97, "age": "26 h"}, late) == [{"hand": "97 %"}, {"foot": "96 %"}]


def test_the_same_part_again_is_another_attempt() -> None:
    again = {"hand": 95, "time": "2026-11-21T10:05:00-06:00"}
    assert oximetry({"hand": 97, "age": "26 h"}, again) == [{"hand": "97 %"}, {"hand": "95 %"}]


def test_a_corrected_part_takes_the_place_of_what_it_corrects() -> None:
    """It is no second attempt: a corrected 97 must not leave an 88 behind that decides."""
    items = [{"hand": 88, "age": "26 h"}, {"hand": 97, "age": "26 h", "status": "corrected"}]
    assert oximetry(*items) == [{"hand": "97 %"}]
    found = assess({"pulse_oximetry": [{"unit": "%", **item} for item in items]})
    assert statuses(found)["exam.low-oxygen"] == "undecided"


def test_two_values_of_one_part_at_one_time_are_one_of_these() -> None:
    items = [{"hand": 88, "foot": 96, "age": "26 h"}, {"hand": 97, "age": "26 h"}]
    assert oximetry(*items) == [{"foot": "96 %", "hand": "88 % or 97 %"}]
    found = assess({"pulse_oximetry": [{"unit": "%", **item} for item in items]})
    assert [(one.target, one.priority) for one in found.to_judge] == [("oxygen_evaluation", "stat")]
    label = "Pulse oximetry, hand"
    assert f"{label}: recorded more than once at one time, differing: one of these" in found.warnings
    assert [(one.subject, one.used.value) for one in found.choices if one.used] == [(label, "88 % or 97 %")]


def test_parts_that_agree_bring_no_warning() -> None:
    hand = {"hand": 97, "unit": "%", "age": "26 h"}
    assert assess({"pulse_oximetry": [hand, hand]}).warnings == ()


def test_an_attempt_that_is_not_final_may_fail_a_screen_and_never_pass_it() -> None:
    def screened(hand: int) -> Assessment:
        return assess(
            {"pulse_oximetry": {"hand": hand, "foot": hand, "unit": "%", "age": "26 h", "status": "preliminary"}}
        )

    assert statuses(screened(97))["exam.low-oxygen"] == "undecided"
    (alarm,) = [one for one in screened(81).recommendations if one.target == "oxygen_evaluation"]
    assert (alarm.priority, alarm.certain) == ("stat", None)
    assert alarm.reasons[0].unless == ("the final value of Pulse oximetry says otherwise",)


def test_a_fourth_attempt_is_told_and_does_not_count() -> None:
    found = assess({"pulse_oximetry": [{"hand": 97, "foot": 97, "unit": "%", "age": f"{26 + k} h"} for k in range(4)]})
    assert "Pulse oximetry: 4 attempts; only the first 3 count" in found.warnings


def test_a_sided_finding_without_a_side_is_not_known_and_told() -> None:
    found = assess({"barlow": "positive"})
    assert {statuses(found)[f"exam.barlow-first@{side}"] for side in ("left", "right")} == {"undecided"}
    assert found.warnings == ("findings.barlow: 'Barlow test' does not say which side; it counts as not known",)


@pytest.mark.parametrize(("later", "joined"), [([kg(2.7, age="90 h")], [{"2.8 kg", "2.9 kg"}]), ([], [])])
def test_two_values_of_the_moment_before_the_latest_are_one_of_these(later: list[Any], joined: list[set[str]]) -> None:
    """Danger law 10: a rate of change is counted from that moment, and either value may bring an emergency."""
    before = [kg(2.8, age="80 h"), kg(2.9, age="80 h")]
    found = readings({"weight": [*before, *later, kg(2.6, age="70 h"), kg(2.5, age="70 h")]}).conflicts()
    names = [{one.given for one in members} for members in found]
    assert [members for members in names if members in joined] == joined
