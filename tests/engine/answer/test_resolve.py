"""Several reasons, one recommendation: whatever the order in which the rules come."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.small_pack import Edit, assess, copied, visit

from layette.engine import Assessment, load_pack
from layette.engine.answer.laid.proposals import Proposal
from layette.engine.answer.laid.windows import RealWindow
from layette.engine.answer.parts.keys import key
from layette.engine.answer.resolved.resolve import FAR, Episode, Ground, episodes
from layette.engine.logic.conditions import Status
from layette.engine.pack.written.rule_shapes import Consequence
from layette.engine.pack.written.written import Instance
from layette.engine.terms import PRIORITIES


def ground(name: str, rank: int, start: int | None, until: int | None, status: Status = Status.FIRED) -> Ground:
    instance = cast("Instance", SimpleNamespace(key=name, side=""))
    consequence = Consequence(refer="eyes", priority=PRIORITIES[rank])
    proposal = Proposal("refer", "eyes", PRIORITIES[rank], rank, (), consequence)
    return Ground(0, instance, proposal, status, RealWindow(start, until, f"{start}-{until}"), proposal.rank)


moments = st.none() | st.integers(1, 30)


@st.composite
def grounds(draw: st.DrawFn) -> list[Ground]:
    """Reasons for one target, each with a name of its own and a window that does not end before it begins."""
    made = []
    for k in range(draw(st.integers(1, 7))):
        start, until = draw(moments), draw(moments)
        if start is not None and until is not None and until < start:
            start, until = until, start
        status = draw(st.sampled_from([Status.FIRED, Status.PROVISIONAL]))
        made.append(ground(f"r{k}", draw(st.integers(0, 3)), start, until, status))
    return made


def told(found: list[Episode]) -> list[Any]:
    return [(e.number, e.start, e.until, e.certain, e.window, [g.instance.key for g in e.grounds]) for e in found]


@given(grounds=grounds(), data=st.data())
def test_the_order_of_the_rules_never_matters(grounds: list[Ground], data: st.DataObject) -> None:
    assert told(episodes(data.draw(st.permutations(grounds)))) == told(episodes(grounds))


@given(grounds=grounds())
def test_no_reason_is_lost_and_each_episode_has_a_moment_in_common(grounds: list[Ground]) -> None:
    found = episodes(grounds)
    assert sorted(g.instance.key for e in found for g in e.grounds) == sorted(g.instance.key for g in grounds)
    for episode in found:
        latest = max(g.window.start or 0 for g in episode.grounds)
        earliest = min(FAR if g.window.until is None else g.window.until for g in episode.grounds)
        assert latest <= earliest


@given(grounds=grounds())
def test_an_episode_has_the_highest_priority_the_earliest_end_and_the_latest_start_of_that_priority(
    grounds: list[Ground],
) -> None:
    for episode in episodes(grounds):
        rank = min(g.rank for g in episode.grounds)
        ends = [g.window.until for g in episode.grounds if g.window.until is not None]
        starts = [g.window.start for g in episode.grounds if g.rank == rank and g.window.start is not None]
        assert episode.first.rank == rank
        assert episode.until == min(ends, default=None)
        assert episode.start == max(starts, default=None)
        fired = [g.rank for g in episode.grounds if g.status is Status.FIRED]
        assert episode.certain == (PRIORITIES[min(fired)] if fired else None)


def test_windows_that_share_a_moment_are_one_request_and_others_a_further_one() -> None:
    found = episodes([ground("a", 1, 1, 10), ground("b", 3, 10, 20), ground("c", 2, 11, 20)])
    assert [[g.instance.key for g in e.grounds] for e in found] == [["a", "b"], ["c"]]
    assert [(e.start, e.until, e.number) for e in found] == [(1, 10, 1), (11, 20, 2)]


LOSS = {"weight": {"value": 2.97, "unit": "kg"}, "birth_weight": {"value": 3.3, "unit": "kg"}}


def test_two_rules_of_a_pack_share_a_recheck_and_both_reasons_are_kept() -> None:
    found = assess(LOSS)
    recheck = next(r for r in found.recommendations if r.target == "weight_recheck")
    assert [reason.rule for reason in recheck.reasons] == ["exam.loss-10", "exam.loss-7"]
    assert (recheck.priority, recheck.certain, recheck.window.until) == ("asap", "asap", "2026-11-25T10:00:00-06:00")


@pytest.mark.parametrize(
    ("episode", "name"), [("once", "once"), ("per_visit", "visit-739944"), ("per_anchor", "from-739944")]
)  # fmt: skip
def test_an_episode_is_named_by_what_its_target_says(episode: str, name: str, tmp_path: Path) -> None:
    edit: Edit = ("targets/all.yaml", "label: Weight again, episode: per_visit", f"label: Again, episode: {episode}")
    found = load_pack(copied(tmp_path, edit)).assess(visit(LOSS), readers=["native"])
    assert next(r for r in found.recommendations if r.target == "weight_recheck").episode == name


def keys(found: Assessment) -> dict[str, tuple[str, str]]:
    return {f"{r.target}/{r.side}": (r.request_key, r.answer_key) for r in found.recommendations}


def test_the_request_key_stays_where_only_the_answer_changes() -> None:
    mild = {**LOSS, "weight": {"value": 3.05, "unit": "kg"}}
    (asked, answer), (again, other) = (
        keys(assess(LOSS))["weight_recheck/None"],
        keys(assess(mild))["weight_recheck/None"],
    )
    assert asked == again
    assert answer != other


def test_each_side_patient_and_target_has_a_request_of_its_own() -> None:
    both = assess({"barlow.both": "positive", **LOSS}, patient="Patient/1")
    other = assess({"barlow.both": "positive", **LOSS}, patient="Patient/2")
    requests = [request for found in (both, other) for request, _ in keys(found).values()]
    assert len(requests) == len(set(requests)) == 2 * len(both.recommendations)


def test_identifiers_name_the_patient_before_the_reference_does() -> None:
    who = [{"system": "urn:x", "value": "7"}]
    one, two = (assess(LOSS, patient=p, identifiers=who) for p in ("Patient/1", "Patient/2"))
    assert keys(one) == keys(two)


def test_a_key_tells_apart_what_only_looks_alike() -> None:
    assert key("a", "b") != key("ab") != key("a", "", "b")
    assert key("request", ["x"], None) == key("request", ["x"], None)
