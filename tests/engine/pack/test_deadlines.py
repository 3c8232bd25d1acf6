"""Priority and deadline agree: what loads and what does not; the refused packs stand in `tests/packs/bad.yaml`."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.small_pack import copied, rule

from layette.engine import PackError, load_pack
from layette.engine.pack.checks.deadlines import contradiction
from layette.engine.pack.written.rule_shapes import WindowShape
from layette.engine.terms import PRIORITIES, Priority


def until(amount: str | None, after: str = "visit", start: str | None = None) -> WindowShape:
    return WindowShape.model_validate({"after": after, "from": start, "until": amount})


@pytest.mark.parametrize(
    ("amount", "agree"),
    [
        ("1 h", {"stat", "asap", "urgent"}),
        ("24 h", {"stat", "asap", "urgent"}),
        ("25 h", {"urgent", "routine"}),
        ("14 d", {"urgent", "routine"}),
        ("15 d", {"routine"}),
        ("6 mo", {"routine"}),
    ],
)
def test_each_end_counted_from_the_visit_agrees_with_these_priorities(amount: str, agree: set[Priority]) -> None:
    assert {p for p in PRIORITIES if contradiction(p, (until(amount),)) is None} == agree


def test_what_is_told_names_the_end_and_the_priority_that_would_fit() -> None:
    told = contradiction("stat", (until("48 h"),))
    assert told == "'stat' begins now and ends within 24 h; this window ends after 48 h: write 'urgent', or another end"
    assert "write 'routine'" in str(contradiction("urgent", (until("30 d"),)))


def test_without_a_window_the_span_of_the_priority_holds() -> None:
    assert [p for p in PRIORITIES if contradiction(p, ())] == []


@pytest.mark.parametrize("priority", PRIORITIES)
@pytest.mark.parametrize("anchor", ["birth", "discharge", "serum_bilirubin.time"])
def test_an_anchored_end_is_lifted_at_run_time_and_not_refused(priority: Priority, anchor: str) -> None:
    assert contradiction(priority, (until("1 h", anchor),)) is None
    assert contradiction(priority, (until("30 d", anchor, "20 d"),)) is None


def test_of_several_windows_the_first_to_end_counts() -> None:
    late, anchored, soon = until("72 h"), until("7 d", "birth"), until("6 h")
    assert contradiction("asap", (late, anchored)) is None
    assert contradiction("asap", (late, soon)) is None
    assert "72 h" in str(contradiction("asap", (late, late)))
    assert "6 h" in str(contradiction("routine", (late, soon)))


def test_the_next_visit_may_be_urgent_or_routine() -> None:
    there = (until("0 h", "next_visit"),)
    assert [p for p in PRIORITIES if contradiction(p, there) is None] == ["urgent", "routine"]


def test_a_site_may_not_tighten_a_window_against_its_priority(tmp_path: Path) -> None:
    then = "[{refer: ophthalmology, priority: routine, within: 7 d}]"
    more = rule(f"- id: exam.more\n  when: {{alertness: hard_to_wake}}\n  then: {then}")
    folder, site = copied(tmp_path, more), tmp_path / "site.yaml"
    line = 'windows: [{rule: exam.more, within: %s, reason: Clinic, by: Lead, on: "2026-03-01"}]\n'
    site.write_text("site: Here\n" + line % "12 h", encoding="utf-8")
    with pytest.raises(PackError) as caught:
        load_pack(folder, site=site)
    [problem] = caught.value.problems
    assert (problem.file, problem.code, problem.key) == (f"site file {site}", "priority-window", "$.windows[0].within")
    assert "write 'asap'" in problem.message
    site.write_text("site: Here\n" + line % "3 d", encoding="utf-8")
    assert load_pack(folder, site=site).digest
