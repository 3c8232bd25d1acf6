"""The verb `judge`: a rule says that a recorded value must be read by a person before they leave."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from support.small_pack import BORN, copied, rule, visit

from layette.engine import Assessment, Pack, load_pack

TIME = "2026-11-24T09:00:00-06:00"
HIGH: dict[str, Any] = {"serum_bilirubin": {"value": 15, "unit": "mg/dL", "time": TIME}}
SLEEPY = {"alertness": "sleepy"}
RULES = """
- id: exam.sleepy-and-yellow
  when: {serum_bilirubin: {at_least: 14}, is_sleepy: true}
  then: [{judge: phototherapy, priority: asap, do: [Read it on the line for a sleepy baby.]}]
  because: A sleepy baby may be harmed by less.
  source: invented
- id: exam.sleepy
  when: {alertness: sleepy}
  then: [{conclude: is_sleepy}]
- id: exam.yellow
  when: {serum_bilirubin: {at_least: 12}, is_sleepy: true}
  then: [{judge: phototherapy, priority: urgent}]
- id: exam.light-at-once
  when: {alertness: sleepy, temperature: {below: 36}}
  then: [{order: phototherapy, priority: stat}]
"""


@cache
def pack() -> Pack:
    """The small pack with two rules that judge one value."""
    with TemporaryDirectory() as place:
        rules = [rule(f"- id: {text}") for text in RULES.strip().removeprefix("- id: ").split("\n- id: ")]
        return load_pack(copied(Path(place), *rules))


def judged(findings: dict[str, Any], **parts: Any) -> Assessment:
    return pack().assess(visit(findings, **parts))


def test_a_value_that_a_rule_says_is_to_be_judged_is_named_with_its_reasons_once() -> None:
    found = judged(HIGH | SLEEPY)
    [item] = [one for one in found.to_judge if "exam.sleepy-and-yellow" in one.rules]
    assert (item.target, item.kind, item.priority) == ("phototherapy", "order", "asap")
    assert item.rules == ("exam.sleepy-and-yellow", "exam.yellow")
    assert item.why == "A sleepy baby may be harmed by less. For tests."
    assert item.settles.endswith("Read it on the line for a sleepy baby.")
    assert ("serum_bilirubin", "15 mg/dL", TIME) in {(used.subject, used.value, used.time) for used in item.values}
    assert found.verdict.to_judge == len(found.to_judge) == 1  # that no line covers it adds nothing


def test_it_is_no_recommendation_and_no_answer() -> None:
    found = judged(HIGH | SLEEPY)
    assert [r for r in found.recommendations if r.target == "phototherapy"] == []
    assert {a.kind for a in found.answers if a.target == "phototherapy"} == {"order"}


def test_it_is_silent_where_the_rule_is_undecided_and_adds_no_question() -> None:
    found = judged(HIGH)
    assert [one.rules for one in found.to_judge if "exam.yellow" in one.rules] == []
    asked = {rule for step in found.steps for question in step.questions for rule in question.rules}
    assert not asked & {"exam.sleepy-and-yellow", "exam.yellow"}


def test_it_is_silent_where_the_target_is_asked_for_as_pressingly() -> None:
    cold = {"temperature": {"value": 35.8, "unit": "Cel"}}
    found = judged(HIGH | SLEEPY | cold)
    assert [r.priority for r in found.recommendations if r.target == "phototherapy"] == ["stat"]
    assert [one.rules for one in found.to_judge if "exam.yellow" in one.rules] == []


def test_how_somebody_judged_the_value_settles_that_value_only() -> None:
    told = {"finding": "serum_bilirubin", "of": TIME, "by": "A nurse", "time": TIME, "outcome": "below the line"}
    assert judged(HIGH | SLEEPY, history={"judged": [told]}).to_judge == ()
    other = told | {"of": BORN}
    rules = {name for one in judged(HIGH | SLEEPY, history={"judged": [other]}).to_judge for name in one.rules}
    assert rules >= {"exam.sleepy-and-yellow", "exam.yellow"}


def test_two_values_of_one_time_that_differ_leave_it_to_be_judged() -> None:
    both = {"alertness": [{"value": "alert", "time": TIME}, {"value": "sleepy", "time": TIME}]}
    rules = {name for one in judged(HIGH | both).to_judge for name in one.rules}
    assert "exam.sleepy-and-yellow" in rules
