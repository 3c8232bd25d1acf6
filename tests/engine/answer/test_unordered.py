"""Results that are there only if somebody ordered them: no baby waits for those that nobody did."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from support.small_pack import copied, rule, statuses, visit

from layette.engine import Assessment, Pack, load_pack

MARKED = """
- id: exam.result
  if_ordered: true
  when: {blood_test: positive, alertness: [alert, sleepy]}
  then: [{refer: cardiology, priority: asap}]
"""
FINDING = """
area: results
label: Results
step: Look for results
findings:
  blood_test:
    label: A blood test
    values: [negative, positive]
    awaited: true
    carries_over: true
    codes: {loinc: "1007-4"}
"""
TARGET = """
cardiology: {kind: refer, label: Cardiologist, category: referral, performer: Cardiology}
the_blood_test: {kind: order, label: The blood test, category: laboratory, codes: {loinc: "1007-4"}}
"""


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    return load_pack(_with(tmp_path_factory.mktemp("marked"), MARKED))


def _with(place: Path, text: str) -> Path:
    return copied(
        place,
        rule(text),
        ("findings/results.yaml", "*", FINDING),
        ("targets/results.yaml", "*", TARGET),
        ("pack.yaml", "findings: [", "findings: [results.yaml, "),
        ("pack.yaml", "targets: [", "targets: [results.yaml, "),
    )


def asked(found: Assessment) -> set[str]:
    return {one.finding for step in found.steps for one in step.questions if "exam.result" in one.rules}


def settled(found: Assessment) -> bool:
    return next(one for one in found.answers if one.target == "cardiology").settled


def assess(pack: Pack, findings: dict[str, Any], **parts: Any) -> Assessment:
    return pack.assess(visit(findings, **parts), readers=["native"])


def test_nobody_waits_for_a_result_that_nobody_ordered(pack: Pack) -> None:
    found = assess(pack, {"alertness": "alert"})
    assert statuses(found)["exam.result"] == "undecided"
    assert settled(found)
    assert asked(found) == set()


def test_without_the_mark_everybody_does(tmp_path: Path) -> None:
    found = assess(load_pack(_with(tmp_path, MARKED.replace("  if_ordered: true\n", ""))), {"alertness": "alert"})
    assert not settled(found)
    assert asked(found) == {"blood_test"}


@pytest.mark.parametrize("status", ["draft", "active", "on-hold"])
def test_an_order_on_record_opens_the_question(pack: Pack, status: str) -> None:
    order = {"target": "the_blood_test", "status": status, "time": "2026-11-24T09:00:00-06:00"}
    found = assess(pack, {"alertness": "alert"}, history={"orders": [order]})
    assert not settled(found)
    assert asked(found) == {"blood_test"}


def test_an_order_that_was_declined_does_not(pack: Pack) -> None:
    order = {"target": "the_blood_test", "status": "revoked", "time": "2026-11-24T09:00:00-06:00"}
    assert settled(assess(pack, {"alertness": "alert"}, history={"orders": [order]}))


def test_a_specimen_without_a_result_opens_it_and_the_result_decides(pack: Pack) -> None:
    taken = assess(pack, {"alertness": "alert", "blood_test": {"absent": "temp-unknown"}})
    assert not settled(taken)
    positive = assess(pack, {"alertness": "alert", "blood_test": "positive"})
    assert statuses(positive)["exam.result"] == "fired"


def test_far_below_a_line_tests_for_risk_that_nobody_ordered_leave_no_target_open() -> None:
    """Near one they do, and a factor that is known does at any distance."""
    at = {"born": "2026-06-01T08:00:00-05:00", "at": "2026-06-04T08:00:00-05:00"}
    known = {"sepsis": "none", "unstable_last_24_h": "no", "jaundice": "none", "family_sees_jaundice": "no"}
    seen = {}
    for name, umol, more in (("far", 249, {}), ("near", 251, {}), ("known", 249, {"dat": "positive"})):
        findings = {
            "gestational_age": {"value": 39, "unit": "wk"},
            "serum_bilirubin": {"value": umol, "unit": "umol/L"},
        }
        found = load_pack().assess({**at, "findings": findings | known | more}, readers=["native"])
        seen[name] = next(one for one in found.answers if one.target == "phototherapy").settled
    assert seen == {"far": True, "near": False, "known": False}


def test_nobody_waits_for_a_further_attempt_at_a_screen_and_one_that_came_counts() -> None:
    first = {"hand": 98, "foot": 99, "unit": "%", "time": "2026-11-21T12:00:00-06:00"}
    low = {"hand": 84, "unit": "%", "time": "2026-11-24T09:30:00-06:00"}
    rule_of_later = "screens.oximetry-under-90-later"
    once, again = (assess(load_pack(), {"pulse_oximetry": several}) for several in ([first], [first, low]))
    assert statuses(once)[rule_of_later] == "undecided"
    assert rule_of_later not in {rule for step in once.steps for one in step.questions for rule in one.rules}
    assert statuses(again)[rule_of_later] == "fired"
    assert {"low_oxygen_evaluation", "cardiology"} <= {r.target for r in again.recommendations if r.priority == "stat"}


def test_a_screen_of_which_nothing_is_on_record_is_asked_for_by_a_rule_of_later_attempts_too() -> None:
    found = assess(load_pack(), {"colour": "pink"})
    asking = {
        rule for step in found.steps for one in step.questions if one.finding == "pulse_oximetry" for rule in one.rules
    }
    assert "screens.oximetry-under-90-later" in asking
