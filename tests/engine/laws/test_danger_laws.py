"""The danger laws (10 to 14): whatever a feed adds, an emergency stays in *now*, is chased, or is put to a person.

Held over every rule of the shipped pack that can bring `stat`, in the smallest visit of a worked case in which it does,
and every way in which a feed adds data (`support.feeds`). `python -m support.feeds.ends` prints the count.
"""

from __future__ import annotations

from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.feeds.emergencies import Emergency, emergencies, other_values, without_case
from support.feeds.ends import end_of, ends, table
from support.feeds.flat import Flat, Item, Place
from support.feeds.numbers import pairs
from support.feeds.ways import GONE, HELD, SEEN, WAYS

from layette.engine import Assessment, load_pack

NAMED_BY_A_LAW = {
    "a correction to the expected value": (GONE, "10: what was amended or corrected is gone"),
    "a later settled normal of what is no event": (GONE, "4.2: of what is no event the latest settled look counts"),
    "an order as pressing under another key": (HELD, "14: placed at this visit, as pressing, not overdue"),
    "an order declined at this visit": (HELD, "9: declined is history"),
    "unchanged and examined again with its order active": (HELD, "14: asked for once"),
}
"""The ways that may end otherwise than in the emergency, and the law that says so."""

pytestmark = pytest.mark.xdist_group("emergencies")  # to find them takes long: one worker does it

BORN, AT = "2026-06-01T08:00:00-05:00", "2026-06-11T10:00:00-05:00"


def test_each_rule_that_can_bring_stat_does_so_in_a_worked_case() -> None:
    assert without_case() == []


def test_only_what_a_law_names_may_end_otherwise() -> None:
    assert {way.name: way.ends - SEEN for way in WAYS if way.ends - SEEN} == {
        name: {end} for name, (end, _) in NAMED_BY_A_LAW.items()
    }


def test_no_way_hides_the_emergency_of_one_rule_in_nine() -> None:
    found = list(ends(every_recording=False, rules=emergencies()[::9]))
    assert len({end.way.name for end in found}) > 40
    assert [end for end in found if end.lost] == [], table(found)


@pytest.mark.slow
def test_no_added_data_hides_an_emergency() -> None:
    """Every eighth rule; `python -m support.feeds.ends` takes every rule and every recording, in some minutes."""
    rules = emergencies()[1::8]
    found = list(ends(every_recording=False, rules=rules))
    assert {end.rule for end in found} == {one.rule for one in rules}
    assert [end for end in found if end.lost] == [], table(found)


@pytest.mark.slow
def test_of_two_numbers_at_one_moment_neither_hides_what_the_other_brings() -> None:
    found = list(pairs())
    alarming = [pair for pair in found if pair.alarming]
    assert {pair.alarming for pair in found} == {0, 1, 2}
    assert [p.name for p in alarming[::5] if end_of(p.one.assess(p.flat), p.one) not in SEEN] == []


def what_presses(found: Assessment) -> list[Any]:
    """What a person acts on; the paths in the input, which an added recording moves, are no part of it."""
    judged = [(j.answer_key, j.target, j.why, [(v.value, v.time) for v in j.values]) for j in found.to_judge]
    return [[(r.answer_key, r.certain) for r in found.recommendations], judged, [r.answer_key for r in found.to_chase]]


@st.composite
def recordings(draw: st.DrawFn) -> tuple[Emergency, Place, list[Item]]:
    """An emergency, one of its recordings, and further ones of the same thing: other values, times and statuses."""
    one = draw(st.sampled_from(emergencies()))
    place = draw(st.sampled_from(one.places))
    item = place.item(one.flat)
    values = [{"value": item["value"]}, *other_values(one, place)[0][:2], *other_values(one, place)[1][:2]]
    more = [
        {
            **item,
            **draw(st.sampled_from(values)),
            "time": draw(st.sampled_from([item["time"], one.flat["at"], one.flat["until"], one.flat["at"][:10]])),
            "status": draw(st.sampled_from(["final", "preliminary", "corrected", "entered-in-error"])),
            "reported": draw(st.booleans()),
        }
        for _ in range(draw(st.integers(1, 3)))
    ]
    return one, place, more


def with_recordings(one: Emergency, place: Place, items: list[Item]) -> Flat:
    flat = deepcopy(one.flat)
    place.among(flat)[:] = items
    return flat


@settings(max_examples=40, deadline=None)
@given(made=recordings(), order=st.randoms(use_true_random=False))
def test_the_order_of_added_recordings_never_matters(made: tuple[Emergency, Place, list[Item]], order: Any) -> None:
    one, place, more = made
    items = [place.item(one.flat), *more]
    shuffled = order.sample(items, len(items))
    found = [what_presses(one.assess(with_recordings(one, place, listed))) for listed in (items, shuffled)]
    assert found[0] == found[1]


@settings(max_examples=40, deadline=None)
@given(made=recordings(), again=st.integers(0, 3))
def test_a_recording_that_is_there_already_changes_nothing(
    made: tuple[Emergency, Place, list[Item]], again: int
) -> None:
    one, place, more = made
    items = [place.item(one.flat), *more]
    twice = [*items, items[again % len(items)]]
    found = [what_presses(one.assess(with_recordings(one, place, listed))) for listed in (items, twice)]
    assert found[0] == found[1]


# By name: what was seen to vanish


def assess(findings: dict[str, Any], **parts: Any) -> Assessment:
    visit = {"born": BORN, "at": AT, "sex_at_birth": "female", "findings": findings, **parts}
    return load_pack().assess(visit, readers=["native"])


def now(found: Assessment) -> dict[str, str | None]:
    """The targets that are proposed as `stat`, with what is certain of each."""
    return {r.target: r.certain for r in found.recommendations if r.priority == "stat"}


def test_a_red_reflex_absent_and_white_at_one_time_is_certain() -> None:
    found = assess({"red_reflex.left": ["absent", "white"]})
    assert now(found) == {"ophthalmology": "stat"}


def test_saturations_of_81_and_82_at_one_time_are_certain_and_of_82_and_97_to_judge() -> None:
    low = [{"value": 81, "unit": "%"}, {"value": 82, "unit": "%"}]
    assert now(assess({"oxygen_saturation": low})) == {"emergency_department": "stat"}
    found = assess({"oxygen_saturation": [low[1], {"value": 97, "unit": "%"}]})
    assert now(found) == {}
    assert "emergency_department" in {j.target for j in found.to_judge if j.priority == "stat"}


def test_two_answers_to_the_item_on_self_harm_are_certain() -> None:
    answers = [{"value": 2, "unit": "{score}"}, {"value": 3, "unit": "{score}"}]
    found = now(assess({"epds_self_harm_item": answers}))
    assert found == {"mother_safety_assessment": "stat", "mother_emergency_mental_health": "stat"}


def test_a_thought_of_self_harm_is_not_taken_back_by_a_later_answer_of_the_day() -> None:
    alone = {"value": 2, "unit": "{score}", "time": "2026-06-11T09:40:00-05:00"}
    assert "mother_safety_assessment" in now(assess({"epds_self_harm_item": [alone, {"value": 0, "unit": "{score}"}]}))


def test_convulsions_seen_at_nine_are_not_erased_by_none_at_ten() -> None:
    seen = {"value": "seen", "time": "2026-06-11T09:00:00-05:00"}
    found = assess({"convulsions": [seen, "none"]})
    assert now(found) == {"emergency_department": "stat"}
    reasons = [r for made in found.recommendations for r in made.reasons if r.rule == "danger-signs.convulsions"]
    assert [(v.value, v.time) for r in reasons for v in r.values] == [("seen", seen["time"])]


def test_danger_told_in_private_is_not_erased_by_none_with_the_partner_in_the_room() -> None:
    alone = {"value": "danger_now", "time": "2026-06-11T09:40:00-05:00", "reported": True}
    assert "family_safety_plan" in now(assess({"violence_at_home": [alone, "none"]}))


def test_a_fever_of_today_is_not_answered_by_an_order_of_three_days_ago() -> None:
    order = {"target": "emergency_department", "status": "active", "priority": "stat"}
    placed = {**order, "time": "2026-06-08T10:00:00-05:00"}
    fever = {"temperature": {"value": 38.6, "unit": "Cel"}}
    found = assess(fever, history={"orders": [placed]})
    assert {r.target for r in found.to_chase} == {"emergency_department"}
    assert found.verdict.pressing
    lasting = {**placed, "until": "2026-06-12T10:00:00-05:00"}
    assert now(assess(fever, history={"orders": [lasting]})) == {"emergency_department": "stat"}


def test_an_absent_red_reflex_of_an_earlier_visit_stands_until_somebody_looks() -> None:
    before = {"red_reflex.left": {"value": "absent", "time": "2026-06-03T09:00:00-05:00"}}
    found = assess({}, history={"findings": before})
    (eyes,) = [r for r in found.recommendations if r.target == "ophthalmology"]
    assert (eyes.priority, eyes.certain, eyes.side) == ("stat", None, "left")
    assert eyes.reasons[0].since == "not looked at again since 2026-06-03"
    seen = {"target": "ophthalmology", "side": "left", "status": "completed", "time": "2026-06-04T09:00:00-05:00"}
    for settled in (
        assess({}, history={"findings": before, "orders": [seen]}),
        assess({"red_reflex.left": "present"}, history={"findings": before}),
    ):
        assert "ophthalmology" not in now(settled)


def test_two_forms_of_one_moment_one_full_of_normals_are_put_to_a_person() -> None:
    found = assess({"belly": ["hard", "soft"], "bowel_sounds": ["none_heard", "heard"]})
    (judged,) = [j for j in found.to_judge if j.target == "emergency_department"]
    assert judged.priority == "stat"
    assert judged.why == "Several recordings are in doubt, and it hangs on more than one of them."
    assert {v.value for v in judged.values} == {"hard", "soft", "none heard", "heard"}
