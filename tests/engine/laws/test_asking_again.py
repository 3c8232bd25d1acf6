"""Danger law 15: asking again never moves a deadline later, and is no new answer but what a person calls new.

New is: what presses more, what ends earlier, what went by and nobody ordered, and what is wanted for the first time
because time has passed. The last holds for a further episode too: where reasons for one target had a moment in common
and have none a day later, what went by is said first, and the rest is a request of its own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from datetime import datetime
from itertools import islice
from typing import Any

import pytest
from support.asked_again import Flat, again, drafts, timed
from support.shipped_examples import NAMES, source
from support.small_pack import small, visit
from support.sweeps import every_case

from layette.engine import Assessment, Pack, load_pack
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.terms import ASKED, PRIORITIES
from layette.mapping.read import read

MOMENTS: tuple[dict[str, float], ...] = ({}, {"minutes": 10}, {"days": 1})
SHARES = [pytest.param(share, marks=pytest.mark.slow if share else ()) for share in range(3)]
Place = tuple[str, str, str | None]


@pytest.fixture(scope="module", name="pack")
def _pack() -> Pack:
    return load_pack()


def by_place(found: Assessment) -> dict[Place, list[Recommendation]]:
    places: dict[Place, list[Recommendation]] = defaultdict(list)
    for one in (*found.recommendations, *found.to_chase):
        places[one.kind, one.target, one.side].append(one)
    return places


def rank(one: Recommendation) -> int:
    return PRIORITIES.index(one.priority)


def end(one: Recommendation) -> float:
    return datetime.fromisoformat(one.window.until).timestamp() if one.window.until else float("inf")


def moved_later(before: Assessment, after: Assessment) -> Iterator[str]:
    """Name each place where what presses as much ends later than it did."""
    first, then = by_place(before), by_place(after)
    for place in first.keys() & then.keys():
        for level in range(len(PRIORITIES)):
            old = [end(one) for one in first[place] if rank(one) <= level]
            new = [end(one) for one in then[place] if rank(one) <= level]
            if place[0] in ASKED and old and new and min(new) > min(old):
                yield f"{place}, {PRIORITIES[level]}: {[one.window for one in then[place]]}"


def unfounded(before: Assessment, after: Assessment) -> Iterator[str]:
    """Name each new answer that no person would call new."""
    first = by_place(before)
    known = {one.answer_key for made in first.values() for one in made}
    chased = {one.answer_key for one in after.to_chase}
    for place, made in by_place(after).items():
        for one in made if place in first else ():
            more = rank(one) < min(map(rank, first[place])) or end(one) < min(map(end, first[place]))
            late = one.window.overdue and (bool(one.window.proposed) or one.answer_key in chased)
            # One request whose reasons have no moment in common any more: the earlier part is late, the other follows.
            split = len(made) > len(first[place]) and any(other.window.overdue for other in made)
            if not (one.answer_key in known or more or late or split):
                yield f"{place}, {one.priority}: {one.window}"


def too_old(given: Flat, pack: Pack, days: float) -> bool:
    born, at = (datetime.fromisoformat(given[part]).date() for part in ("born", "at"))
    return (at - born).days + days > pack.oldest_days


def held(pack: Pack, name: str, given: Flat) -> int:
    """Ask again at each later moment, and then once more; return how often that could be done."""
    first, times = pack.assess(given, readers=["native"]), 0
    proposed = drafts(first, given.get("until"))
    for later in MOMENTS:
        if too_old(given, pack, later.get("days", 0)):
            continue
        second = pack.assess(again(given, proposed, **later), readers=["native"])
        assert list(moved_later(first, second)) == [], (name, later)
        assert list(unfounded(first, second)) == [], (name, later)
        if later.get("days", 0) == 0:
            asked = {one.answer_key for one in first.to_judge}
            assert {one.answer_key for one in second.to_judge} <= asked, (name, later)
        # What was written for the second answer stands, beside the first drafts and once these are taken back.
        for orders in ([*proposed, *drafts(second)], drafts(second)) if later else ():
            once_more = pack.assess(again(given, orders, **later), readers=["native"])
            assert keys(once_more) <= keys(second), (name, later)
            assert list(moved_later(second, once_more)) == [], (name, later)
        times += 1
    return times


def keys(found: Assessment) -> set[str]:
    return {one.answer_key for one in (*found.recommendations, *found.to_chase)}


@pytest.mark.parametrize("share", SHARES)
def test_asking_again_moves_no_deadline_later_and_is_no_new_answer(pack: Pack, share: int) -> None:
    tried = [held(pack, case.shape.id, timed(case.shape.given)) for case in some(every_case(), share)]
    assert sum(tried) > 2 * len(tried) > 30


def some(cases: Iterable[Any], share: int) -> Iterator[Any]:
    """Yield a sample of the cases; that of the first share, which every run asks, is the smallest."""
    return islice(cases, share, None, 20 if share else 40)


@pytest.mark.parametrize("name", NAMES)
def test_an_example_asked_again_is_no_new_answer(pack: Pack, name: str) -> None:
    assert held(pack, name, timed(read(source(name), pack).visit)) == len(MOMENTS)


LOSS: Flat = {"weight": {"value": 2.69, "unit": "kg"}, "birth_weight": {"value": 3.0, "unit": "kg"}}
"""In the small pack an `asap` order, asked for once whatever the visit."""
HIPS: Flat = {"barlow.left": "positive"}
"""In the small pack an `urgent` recheck of each visit."""
TARGETS = ("feeding_assessment", "hip_again")


def asked(findings: Flat, *orders: Flat, **later: float) -> Recommendation:
    """What is asked for by findings of the first visit, at a later moment, with these orders on record."""
    return only(small().assess(again(timed(visit(findings)), orders, **later), readers=["native"]))


def only(found: Assessment) -> Recommendation:
    [made] = [one for one in found.recommendations if one.target in TARGETS]
    return made


def proposed(findings: Flat) -> tuple[Recommendation, Flat]:
    """What is asked for first, and how it stands in the history of the next visit."""
    found = small().assess(timed(visit(findings)), readers=["native"])
    [draft] = [one for one in drafts(found) if one["target"] in TARGETS]
    return only(found), draft


def test_a_draft_keeps_its_key_and_its_end() -> None:
    made, draft = proposed(LOSS)
    later = asked(LOSS, draft, hours=2)
    assert (later.answer_key, later.window.until) == (made.answer_key, made.window.until)
    assert (later.window.start, later.window.proposed) == (made.window.start, draft["time"])
    assert later.window.text == f"within 24 h, as proposed on {draft['time']}"


def test_without_a_draft_on_record_the_clock_starts_with_the_visit() -> None:
    made, _ = proposed(LOSS)
    assert end(asked(LOSS, hours=2)) - end(made) == 2 * 3600


def test_past_its_end_nobody_ordered_it_and_that_is_one_answer_from_then_on() -> None:
    made, draft = proposed(LOSS)
    late = asked(LOSS, draft, days=2)
    assert late.window.text == f"proposed on {draft['time']}, never ordered: order now"
    assert (late.window.until, late.window.overdue, late.window.start) == (made.window.until, True, None)
    assert late.answer_key != made.answer_key
    chased = draft | {"answer_key": late.answer_key, "time": "2026-11-26T10:00:00-06:00", "start": None}
    for orders in ([draft], [draft, chased], [chased]):
        for days in (2.5, 6):
            once_more = asked(LOSS, *orders, days=days)
            assert (once_more.answer_key, once_more.window.until) == (late.answer_key, made.window.until)


@pytest.mark.parametrize(("priority", "deadline"), [("asap", "now"), ("urgent", "before they leave")])
def test_what_was_never_ordered_is_ordered_while_they_are_here(priority: str, deadline: str) -> None:
    findings = LOSS if priority == "asap" else HIPS
    _, draft = proposed(findings)
    found = small().assess(again(timed(visit(findings)), [draft], days=20), readers=["native"])
    assert deadline in [group.deadline for group in found.do for one in group.items if one.target in TARGETS]


@pytest.mark.parametrize(
    "changed",
    [
        {"priority": "routine"},  # today presses more
        {"until": "2026-12-24T10:00:00-06:00"},  # today ends earlier
        {"until": None},
        {"answer_key": "0" * 32},  # another code
    ],
)
def test_a_draft_is_replaced_by_what_presses_more_ends_earlier_or_has_another_code(changed: Flat) -> None:
    made, draft = proposed(LOSS)
    later = asked(LOSS, draft | changed, hours=2)
    assert later.answer_key not in (draft["answer_key"], (draft | changed)["answer_key"])
    assert later.request_key == made.request_key
    assert end(later) <= end(asked(LOSS, hours=2))


@pytest.mark.parametrize("done", [{"status": "completed"}, {"answer_key": ""}, {"time": None}])
def test_what_is_no_draft_of_ours_holds_no_clock(done: Flat) -> None:
    _, draft = proposed(LOSS)
    assert end(asked(LOSS, draft | done, hours=2)) == end(asked(LOSS, hours=2))


def test_a_draft_that_presses_more_still_does() -> None:
    _, draft = proposed(LOSS)
    later = asked(LOSS, draft | {"priority": "stat"}, hours=2)
    assert (later.priority, later.certain, later.possible) == ("stat", "asap", "stat")
    assert later.answer_key == draft["answer_key"]


def test_the_earliest_end_and_the_most_pressing_of_several_drafts_hold() -> None:
    _, draft = proposed(LOSS)
    sooner = draft | {"priority": "urgent", "until": "2026-11-24T20:00:00-06:00"}
    later = asked(LOSS, draft, sooner, hours=2)
    assert (later.priority, later.window.until) == ("asap", sooner["until"])
    assert asked(LOSS, sooner, draft, hours=2) == later


def test_a_request_of_another_visit_is_the_same_until_somebody_looks_again() -> None:
    made, draft = proposed(HIPS)
    next_day = asked(HIPS, draft, days=1)
    assert (next_day.request_key, next_day.answer_key) == (made.request_key, made.answer_key)
    looked_at_again = small().assess(again(visit(HIPS), [draft], days=1), readers=["native"])
    assert only(looked_at_again).request_key != made.request_key


def test_a_completed_order_answers_the_drafts_before_it() -> None:
    _, draft = proposed(LOSS)
    done = {key: draft[key] for key in ("target", "side", "priority")}
    done |= {"status": "completed", "time": "2026-11-24T20:00:00-06:00"}
    assert not asked(LOSS, draft, done, days=2).window.overdue
    assert asked(LOSS, draft, done | {"time": "2026-11-24T08:00:00-06:00"}, days=2).window.overdue


def test_an_overdue_order_is_chased_under_one_key_with_its_own_end() -> None:
    _, draft = proposed(LOSS)
    order = draft | {"status": "active", "answer_key": "", "reference": "ServiceRequest/9"}
    chases = []
    for days in (2, 3):
        found = small().assess(again(timed(visit(LOSS)), [order], days=days), readers=["native"])
        chases += [one for one in found.to_chase if one.target in TARGETS]
    first, second = chases
    assert first.answer_key == second.answer_key
    assert (first.window.until, first.window.text) == (draft["until"], "overdue")
