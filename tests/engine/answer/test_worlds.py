"""The worlds beside the one that is known: what they make certain, add as provisional, or put to a person."""

from __future__ import annotations

from typing import Any

import pytest
from support.small_pack import AT, copied, rule, visit

from layette.engine import Assessment, Pack, load_pack

FINDINGS = "findings/exam.yaml"
AT_NINE, DAY_BEFORE = "2026-11-24T09:00:00-06:00", "2026-11-23"
BOTH = """
- id: exam.both
  when: {barlow.left: positive, red_reflex.left: [absent, white]}
  then: [{refer: oxygen_evaluation, priority: stat}]
"""


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    """The small pack with an event, something that stands, and a rule on two findings."""
    edits = (
        (FINDINGS, "expected: alert\n", "expected: alert\n    event: [hard_to_wake]\n"),
        (FINDINGS, "expected: present\n", "expected: present\n    stands: [absent, white]\n"),
        rule(BOTH),
    )
    return load_pack(copied(tmp_path_factory.mktemp("lasting"), *edits))


def assess(pack: Pack, findings: dict[str, Any], **parts: Any) -> Assessment:
    return pack.assess(visit(findings, sex_at_birth="female", **parts), readers=["native"])


def now(found: Assessment) -> dict[str, str | None]:
    return {r.target: r.certain for r in found.recommendations if r.priority == "stat"}


def judged(found: Assessment) -> dict[str, str]:
    return {one.target: one.why for one in found.to_judge if one.priority == "stat"}


# Events


@pytest.mark.parametrize(
    ("seen", "certain"),
    [
        ({"time": AT_NINE}, True),
        ({"time": "2026-11-23T10:00:00-06:00", "reported": True}, True),
        ({"time": "2026-11-23T09:59:59-06:00", "reported": True}, False),
    ],
)
def test_an_event_counts_for_a_day_whatever_came_later(pack: Pack, seen: dict[str, Any], certain: bool) -> None:
    found = assess(pack, {"alertness": [{"value": "hard_to_wake", **seen}, "alert"]})
    assert now(found) == ({"emergency_evaluation": "stat"} if certain else {})
    assert judged(found) == {}


def test_an_event_of_another_visit_is_not_todays(pack: Pack) -> None:
    past = {"findings": {"alertness": {"value": "hard_to_wake", "time": AT_NINE}}}
    assert now(assess(pack, {"alertness": "alert"}, history=past)) == {}


def test_what_is_less_exact_is_no_event_beside_what_is_more_exact(pack: Pack) -> None:
    """ "Abnormal" is sleepy or hard to wake; beside "sleepy" it says nothing more."""
    found = assess(pack, {"alertness": ["sleepy", "abnormal"]}).explain("exam.danger")
    assert [t.status for t in found.rules if t.rule == "exam.danger"] == ["undecided"]
    cold = {"alertness": ["sleepy", "abnormal"], "temperature": {"value": 36.9, "unit": "Cel"}}
    assert [t.status for t in assess(pack, cold).explain("exam.danger").rules] == ["ruled out"]


def test_an_event_that_was_amended_is_gone(pack: Pack) -> None:
    items = [{"value": "hard_to_wake"}, {"value": "alert", "status": "amended"}]
    assert now(assess(pack, {"alertness": items})) == {}


@pytest.mark.parametrize(
    "finding",
    [
        {"alertness": [{"value": "hard_to_wake", "time": DAY_BEFORE, "reported": True}, "alert"]},
        {"temperature": {"value": 39, "unit": "Cel", "time": DAY_BEFORE, "reported": True}},
    ],
)
def test_what_may_lie_within_the_last_day_is_put_to_a_person(pack: Pack, finding: dict[str, Any]) -> None:
    found = assess(pack, finding)
    assert now(found) == {}
    assert judged(found) == {"emergency_evaluation": "It may lie within the last 24 hours; its hour is not known."}


# Recordings of one moment


def test_an_event_recorded_beside_its_absence_is_certain(pack: Pack) -> None:
    assert now(assess(pack, {"alertness": ["hard_to_wake", "alert"]})) == {"emergency_evaluation": "stat"}


def test_what_hangs_on_two_recordings_both_made_twice_is_put_to_a_person(pack: Pack) -> None:
    twice = {"barlow.left": ["positive", "negative"], "red_reflex.left": ["white", "present"]}
    found = assess(pack, twice)
    assert now(found) == {}
    together = "Several recordings are in doubt, and it hangs on more than one of them."
    apart = "Recorded more than once at one time, differing."
    assert judged(found) == {"oxygen_evaluation": together, "ophthalmology": apart}


def test_what_no_outcome_brings_is_not_put_to_anybody(pack: Pack) -> None:
    found = assess(pack, {"barlow.right": ["positive", "negative"], "red_reflex.left": ["white", "present"]})
    assert judged(found).keys() == {"ophthalmology"}


def test_one_value_in_two_units_around_a_limit_is_put_to_a_person(pack: Pack) -> None:
    """100 degrees Fahrenheit, printed without decimals, is 38 Celsius as well as not."""
    items = [{"value": 100, "unit": "[degF]"}, {"value": 38, "unit": "Cel"}]
    two = assess(pack, {"temperature": [{**item, "time": AT_NINE} for item in items]})
    assert now(two) == {"emergency_evaluation": "stat"}  # the highest of the day is 38
    low = [{"value": 95.9, "unit": "[degF]"}, {"value": 35.49, "unit": "Cel"}]
    found = assess(pack, {"temperature": low})
    assert judged(found) == {"emergency_evaluation": "Recorded in two units, and a limit may lie between the two."}


# What is not settled


def test_of_two_later_values_that_are_not_settled_the_normal_one_hides_nothing(pack: Pack) -> None:
    unsettled = [{"value": value, "status": "preliminary"} for value in ("white", "present")]
    items = [{"value": "present", "time": AT_NINE}, *unsettled]
    found = assess(pack, {"red_reflex.left": items, "red_reflex.right": "present"})
    assert now(found) == {"ophthalmology": None}


def test_numbers_that_are_not_settled_and_differ_are_decided_each_by_itself(pack: Pack) -> None:
    settled = {"hand": 97, "foot": 97, "unit": "%", "age": "26 h"}
    unsettled = [{"hand": value, "unit": "%", "age": "24 h", "status": "preliminary"} for value in (82, 99)]
    assert judged(assess(pack, {"pulse_oximetry": [settled, *unsettled]})) == {
        "oxygen_evaluation": "Recorded more than once at one time, differing."
    }


def test_a_result_that_is_not_final_clears_no_final_one(pack: Pack) -> None:
    weight = {"weight": {"value": 2.9, "unit": "kg"}}
    first = {"value": 3.3, "unit": "kg", "age": "0 h"}
    later = {"value": 3.0, "unit": "kg", "age": "1 h", "status": "preliminary"}
    found = assess(pack, weight, history={"findings": {"birth_weight": [first, later]}})
    (item,) = [one for one in found.to_judge if one.target == "feeding_assessment"]
    assert item.why == "The latest value is not final, and an earlier one is."
    final = assess(pack, weight, history={"findings": {"birth_weight": [first, {**later, "status": "final"}]}})
    assert [one for one in final.to_judge if one.target == "feeding_assessment"] == []


@pytest.mark.parametrize("status", ["final", "preliminary"])
def test_an_attempt_after_as_many_as_count_may_alarm(pack: Pack, status: str) -> None:
    passed = [{"hand": 98, "foot": 98, "unit": "%", "age": f"{hour} h"} for hour in (24, 25, 26)]
    last = {"hand": 82, "foot": 98, "unit": "%", "age": "27 h", "status": status}
    assert judged(assess(pack, {"pulse_oximetry": [*passed, last]})) == {
        "oxygen_evaluation": "It was tried more often than the screen counts."
    }


def test_what_is_only_registered_counts_as_preliminary_and_is_told(pack: Pack) -> None:
    items = [{"value": "present", "time": AT_NINE}, {"value": "white", "status": "registered"}]
    found = assess(pack, {"red_reflex.left": items})
    assert now(found) == {"ophthalmology": None}
    assert found.warnings == ("Red reflex, left: registered, though it has a value: it counts as preliminary",)


# What stands


def standing(**parts: Any) -> dict[str, Any]:
    return {"findings": {"red_reflex.left": {"value": "white", "time": "2026-11-22T10:00:00-06:00"}}, **parts}


def test_what_stands_is_provisional_and_leaves_the_world_as_it_is(pack: Pack) -> None:
    found = assess(pack, {}, history=standing())
    (made,) = [r for r in found.recommendations if r.target == "ophthalmology"]
    assert (made.priority, made.certain, made.reasons[0].since) == (
        "stat",
        None,
        "not looked at again since 2026-11-22",
    )
    assert {q.finding for step in found.steps for q in step.questions} >= {"red_reflex"}


def test_what_was_not_final_at_the_earlier_visit_cleared_nothing_there(pack: Pack) -> None:
    values = [
        {"value": "white", "time": "2026-11-22T10:00:00-06:00"},
        {"value": "present", "time": "2026-11-22T10:20:00-06:00", "status": "preliminary"},
    ]
    assert "ophthalmology" in now(assess(pack, {}, history={"findings": {"red_reflex.left": values}}))


@pytest.mark.parametrize(
    ("order", "stands"),
    [
        ({"status": "completed", "time": "2026-11-22T10:30:00-06:00"}, False),
        ({"status": "completed", "time": "2026-11-22T09:00:00-06:00"}, True),
        ({"status": "completed"}, True),
    ],
)
def test_only_what_was_done_after_it_ends_what_stands(pack: Pack, order: dict[str, Any], stands: bool) -> None:
    found = assess(pack, {}, history=standing(orders=[{"target": "ophthalmology", **order}]))
    assert ("ophthalmology" in now(found)) is stands


@pytest.mark.parametrize(("time", "stands"), [(AT, False), ("2026-11-22T08:00:00-06:00", True)])
def test_only_who_judged_it_after_it_was_made_ends_what_stands(pack: Pack, time: str, stands: bool) -> None:
    said = {"finding": "red_reflex", "of": "2026-11-22", "by": "a nurse", "time": time, "outcome": "not of concern"}
    assert ("ophthalmology" in now(assess(pack, {}, history=standing(judged=[said])))) is stands


def test_what_stands_and_what_was_recorded_twice_are_weighed_together(pack: Pack) -> None:
    found = assess(pack, {"barlow.left": ["positive", "negative"]}, history=standing())
    assert now(found) == {"ophthalmology": None}
    assert judged(found).keys() == {"oxygen_evaluation"}


# Orders


@pytest.mark.parametrize(
    ("order", "held"),
    [
        ({"status": "active", "time": AT}, True),
        ({"status": "on-hold", "time": AT}, False),
        ({"status": "revoked", "time": AT}, True),
        ({"status": "revoked", "time": "2026-11-21T10:00:00-06:00"}, False),
        ({"status": "revoked"}, False),
    ],
)
def test_an_order_on_hold_or_declined_before_holds_back_nothing_that_presses(
    pack: Pack, order: dict[str, Any], held: bool
) -> None:
    orders = [{"target": "ophthalmology", "priority": "stat", **order}]
    found = assess(pack, {"red_reflex.left": "white"}, history={"orders": orders})
    assert ("ophthalmology" in now(found)) is not held
