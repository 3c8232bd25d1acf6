"""From an anchor and two amounts to real times."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from support.small_pack import Edit, copied, rule, visit

from layette.engine import Pack, load_pack
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.errors import PackError
from layette.engine.exact.times import plus, plus_months


def pack_with(place: Path, consequence: str, *edits: Edit, site: str = "") -> Pack:
    """The small pack with one more rule, fired by a sleepy baby."""
    text = f"- id: exam.more\n  when: {{alertness: sleepy}}\n  then: [{{order: more, {consequence}}}]"
    folder = copied(place, rule(text), ("targets/all.yaml", "", "more: {kind: order, label: More}\n"), *edits)
    if site:
        (place / "site.yaml").write_text(site, encoding="utf-8")
    return load_pack(folder, place / "site.yaml" if site else None)


def made(pack: Pack, findings: dict[str, Any] | None = None, **parts: Any) -> Recommendation:
    flat = {**visit({"alertness": "sleepy", **(findings or {})}), **parts}
    found = pack.assess(flat, readers=["native"])
    return next(r for r in found.recommendations if r.target == "more")


AT = "2026-11-24T10:00:00-06:00"


@pytest.mark.parametrize(
    ("consequence", "start", "until", "text"),
    [
        ("priority: stat", AT, "2026-11-24T11:00:00-06:00", "now"),
        ("priority: asap", AT, "2026-11-25T10:00:00-06:00", "within 24 h"),
        ("priority: urgent", AT, "2026-12-01T10:00:00-06:00", "within 7 d"),
        ("priority: routine", AT, None, "no fixed time"),
        ("priority: asap, within: 6 h", AT, "2026-11-24T16:00:00-06:00", "within 6 h"),
        ("priority: stat, within: 90 min", AT, "2026-11-24T11:30:00-06:00", "within 90 min"),
        (
            "priority: routine, window: {after: visit, from: 12 h, until: 48 h}",
            "2026-11-24T22:00:00-06:00", "2026-11-26T10:00:00-06:00", "not before 12 h, within 48 h",
        ),
        (
            "priority: routine, window: {after: birth, from: 6 mo, until: 7 mo}",
            "2027-05-20T08:00:00-06:00", "2027-06-20T08:00:00-06:00", "between 6 mo and 7 mo of age",
        ),
        ("priority: routine, window: {after: next_visit, until: 1 d}", AT, None, "at the next visit"),
        (
            "priority: routine, window: {first_of: [{after: birth, until: 14 d}, {after: visit, until: 7 d}]}",
            AT, "2026-12-01T10:00:00-06:00", "within 7 d",
        ),
    ],
)  # fmt: skip
def test_a_window_becomes_real_times(
    consequence: str, start: str, until: str | None, text: str, tmp_path: Path
) -> None:
    window = made(pack_with(tmp_path, consequence)).window
    assert (window.start, window.until, window.text) == (start, until, text)
    assert not window.overdue
    assert window.missing is None


def test_discharge_and_term_are_bound_to_findings(tmp_path: Path) -> None:
    after = pack_with(tmp_path / "a", "priority: urgent, window: {after: discharge, from: 24 h, until: 72 h}")
    window = made(after, {"discharge_age": {"value": 48, "unit": "h"}}).window
    assert (window.start, window.until) == ("2026-11-23T08:00:00-06:00", "2026-11-25T08:00:00-06:00")
    term = pack_with(tmp_path / "b", "priority: routine, window: {after: term, from: 4 wk, until: 6 wk}")
    window = made(term, {"gestational_age": {"value": 38, "unit": "wk"}}).window
    assert (window.start, window.until) == ("2027-01-01T08:00:00-06:00", "2027-01-15T08:00:00-06:00")


def test_an_unknown_anchor_is_told_and_the_priority_gives_the_span(tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "priority: urgent, window: {after: discharge, from: 24 h, until: 72 h}")
    window = made(pack).window
    assert window.missing == "the time of discharge is not recorded"
    assert (window.start, window.until) == (AT, "2026-12-01T10:00:00-06:00")
    assert "within 7 d from now: the time of discharge is not recorded" in window.text


def test_the_time_of_a_finding_is_an_anchor(tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "priority: urgent, window: {after: serum_bilirubin.time, until: 24 h}")
    window = made(pack, {"serum_bilirubin": {"value": 9, "unit": "mg/dL", "age": "90 h"}}).window
    assert window.until == "2026-11-25T02:00:00-06:00"
    assert made(pack).window.missing == "the time of serum_bilirubin is not recorded"


@pytest.mark.parametrize("priority", ["asap", "urgent", "routine"])
def test_a_window_that_is_past_keeps_its_true_end_and_is_overdue(priority: str, tmp_path: Path) -> None:
    window = made(
        pack_with(tmp_path, f"priority: {priority}, window: {{after: birth, from: 24 h, until: 48 h}}")
    ).window
    assert window.overdue
    assert window.text == "between 24 h and 48 h of age: overdue since 2026-11-22T08:00:00-06:00"
    assert (window.start, window.until) == (AT, "2026-11-22T08:00:00-06:00")


@pytest.mark.parametrize(("hours", "priority"), [(23, "asap"), (24, "asap"), (25, "routine")])
def test_little_time_left_until_an_anchored_end_lifts_a_priority_at_most_to_asap(
    hours: int, priority: str, tmp_path: Path
) -> None:
    """The visit is at 98 h of age; what is counted from the visit itself is not lifted."""
    end = f"priority: routine, window: {{after: birth, until: {98 + hours} h}}"
    assert made(pack_with(tmp_path, end)).priority == priority


def test_the_last_moment_of_a_window_is_not_overdue(tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "priority: urgent, window: {after: birth, until: 98 h}")
    assert not made(pack).window.overdue
    assert made(pack, at="2026-11-24T10:00:01-06:00").window.overdue


def test_a_birth_known_to_the_day_gives_the_early_end(tmp_path: Path) -> None:
    pack = pack_with(tmp_path, "priority: urgent, window: {after: birth, until: 10 d}")
    assert made(pack, born="2026-11-20").window.until == "2026-11-30T00:00:00-06:00"


@pytest.mark.parametrize(
    ("day", "months", "later"),
    [
        ("2026-08-31T12:00:00", 6, "2027-02-28T12:00:00"),
        ("2027-08-31T12:00:00", 6, "2028-02-29T12:00:00"),
        ("2026-12-15T12:00:00", 1, "2027-01-15T12:00:00"),
        ("2026-01-31T12:00:00", 3, "2026-04-30T12:00:00"),
        ("2026-11-30T12:00:00", 24, "2028-11-30T12:00:00"),
    ],
)
def test_months_are_calendar_months(day: str, months: int, later: str) -> None:
    zone = ZoneInfo("America/Chicago")
    start, end = (datetime.fromisoformat(text).replace(tzinfo=zone) for text in (day, later))
    assert plus_months(int(start.timestamp()), months, zone) == int(end.timestamp())
    assert plus(int(start.timestamp()), f"{months} mo", zone) == int(end.timestamp())


SITE = "site: Here\ntimezone: America/Chicago\n"
SUMMER = {"born": "2026-10-29T08:00:00-05:00", "at": "2026-10-31T10:00:00-05:00"}
"""A visit on the last day of summer time; it ends at 2 o'clock of November 1."""


def test_hours_are_elapsed_time_across_a_change_of_the_clock(tmp_path: Path) -> None:
    window = made(pack_with(tmp_path, "priority: asap, within: 24 h", site=SITE), **SUMMER).window
    assert window.until == "2026-11-01T09:00:00-06:00"


def test_months_keep_the_time_of_day_across_a_change_of_the_clock(tmp_path: Path) -> None:
    consequence = "priority: routine, window: {after: birth, until: 1 mo}"
    window = made(pack_with(tmp_path, consequence, site=SITE), **SUMMER).window
    assert window.until == "2026-11-29T08:00:00-06:00"


def test_without_a_time_zone_of_the_site_the_offset_of_the_visit_counts(tmp_path: Path) -> None:
    window = made(pack_with(tmp_path, "priority: asap, within: 24 h"), **SUMMER).window
    assert window.until == "2026-11-01T10:00:00-05:00"


def test_a_month_with_a_fraction_is_refused(tmp_path: Path) -> None:
    with pytest.raises(PackError, match="an amount of time such as '24 h'"):
        pack_with(tmp_path, "priority: routine, window: {after: birth, until: 1.5 mo}")
