"""A result that nobody ordered keeps nothing open; one that was ordered, proposed or recorded does."""

from __future__ import annotations

from typing import Any

import pytest
from support.small_pack import AT, BORN, copied

from layette.engine import Assessment, Pack, load_pack

RESULT = """  tracing:
    label: Tracing of the heart
    values: [usual, odd]
    expected: usual
    awaited: true
    comes_by: [tracing_test]
    carries_over: true
"""
TARGETS = """
tracing_test: {kind: order, label: Trace the heart}
heart_clinic: {kind: refer, label: Heart clinic}
"""
RULES = """
- id: exam.tracing-odd
  title: Odd tracing
  when: {tracing: odd}
  then: [{refer: heart_clinic, priority: urgent}]
  because: An odd tracing is read by somebody who knows.
  source: invented
- id: exam.sleepy-tracing
  title: Sleepy
  when: {alertness: sleepy}
  then: [{order: tracing_test, priority: urgent}]
  because: For tests.
  source: invented
"""
ORDERED = {"target": "tracing_test", "priority": "urgent", "time": "2026-11-23T10:00:00-06:00"}


@pytest.fixture(scope="module")
def pack(tmp_path_factory: pytest.TempPathFactory) -> Pack:
    """Return the small pack with a result that comes by an order."""
    edits = [
        ("findings/exam.yaml", "  temperature:\n", RESULT + "  temperature:\n"),
        ("targets/all.yaml", "", TARGETS),
        ("decisions/exam.yaml", "", RULES),
    ]
    return load_pack(copied(tmp_path_factory.mktemp("unordered"), *edits))


def found(pack: Pack, findings: dict[str, Any], **parts: Any) -> Assessment:
    return pack.assess({"born": BORN, "at": AT, "findings": findings, **parts}, readers=["native"])


def asked(answer: Assessment) -> set[str]:
    return {question.finding for step in answer.steps for question in step.questions}


def clinic(answer: Assessment) -> tuple[str | None, str | None]:
    (one,) = [one for one in answer.answers if one.target == "heart_clinic"]
    return one.certain, one.possible


def test_what_nobody_ordered_is_not_asked_for_and_its_target_is_settled(pack: Pack) -> None:
    answer = found(pack, {"alertness": "alert"})
    assert "tracing" not in asked(answer)
    assert clinic(answer) == (None, None)
    assert [t.status for t in answer.trace if t.rule == "exam.tracing-odd"] == ["undecided"]


@pytest.mark.parametrize("status", ["active", "completed", "on-hold", "draft"])
def test_an_order_on_record_keeps_it_open(status: str, pack: Pack) -> None:
    answer = found(pack, {"alertness": "alert"}, history={"orders": [{**ORDERED, "status": status}]})
    assert "tracing" in asked(answer)
    assert clinic(answer) == (None, "urgent")


@pytest.mark.parametrize("status", ["revoked", "entered-in-error"])
def test_an_order_that_was_taken_back_does_not(status: str, pack: Pack) -> None:
    answer = found(pack, {"alertness": "alert"}, history={"orders": [{**ORDERED, "status": status}]})
    assert "tracing" not in asked(answer)


def test_an_order_that_is_proposed_keeps_it_open(pack: Pack) -> None:
    assert "tracing" in asked(found(pack, {"alertness": "sleepy"}))


def test_what_was_recorded_counts_whether_or_not_it_was_ordered(pack: Pack) -> None:
    assert clinic(found(pack, {"tracing": "odd"})) == ("urgent", "urgent")
    assert "tracing" in asked(found(pack, {"tracing": {"absent": "not-performed"}}))
