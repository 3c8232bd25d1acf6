"""What an earlier order, a result or a talk answers already, so that it is not proposed a second time."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from support.small_pack import copied, visit

from layette.engine import Assessment, Pack, load_pack
from layette.engine.answer.shapes.proposed import Recommendation

AGE = {"age": {"at_least": "24 h"}}
HIPS = {"barlow.left": "positive"}  # an urgent recheck of the left hip
LOSS = {"weight": {"value": 2.69, "unit": "kg"}, "birth_weight": {"value": 3.0, "unit": "kg"}}  # asap
NOW = "2026-11-24T10:00:00-06:00"
EARLIER = "2026-11-23T10:00:00-06:00"
FIRST_DAY = "2026-11-20T12:00:00-06:00"


@cache
def pack(counts: str = "") -> Pack:
    """The small pack; ``counts`` is what counts as having had each target that these tests ask for."""
    kept = {"hip_again": "episode: per_visit", "feeding_assessment": "category: evaluation", "cord_care": "kind: guide"}
    with TemporaryDirectory() as place:
        folder = copied(Path(place))
        file = folder / "targets/all.yaml"
        lines = file.read_text(encoding="utf-8").splitlines()
        for k, line in enumerate(lines if counts else ()):
            after = kept.get(line.partition(":")[0])
            lines[k] = line.replace(after, f"{after}, satisfied_by: [{counts}]") if after else line
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return load_pack(folder)


def order(**parts: Any) -> dict[str, Any]:
    return {"target": "hip_again", "side": "left", "status": "active", "priority": "urgent", "time": EARLIER, **parts}


def hips(*orders: dict[str, Any], counts: str = "") -> Assessment:
    """The hips, positive before the orders were placed and again today."""
    before = {"barlow.left": {"value": "positive", "time": "2026-11-23T09:00:00-06:00"}}
    history = {"orders": list(orders), "findings": before}
    return pack(counts).assess(visit(HIPS, history=history), readers=["native"])


def recheck(found: Assessment) -> Recommendation:
    """The recheck of the hips: proposed, to be chased, or standing."""
    [made] = [r for r in (*found.recommendations, *found.to_chase, *found.standing) if r.target == "hip_again"]
    return made


def stands(found: Assessment) -> bool:
    return recheck(found) in found.standing


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, True),
        ({"status": "on-hold"}, True),
        ({"status": "revoked"}, True),  # somebody declined it
        ({"status": "draft"}, False),
        ({"status": "completed"}, False),  # done, but this target does not say that this counts
        ({"status": "entered-in-error"}, False),
        ({"priority": "stat"}, True),
        ({"priority": "asap"}, True),
        ({"priority": "routine"}, False),  # what is proposed is more pressing
        ({"priority": None}, False),  # FHIR: an order without priority is routine
        ({"side": "right"}, False),
        ({"side": ""}, True),
        ({"target": "ophthalmology"}, False),
        ({"time": None}, False),  # nobody knows whether the finding was there then
        ({"request_key": "another request"}, True),  # whatever the key, it asks for the same
    ],
)
def test_an_order_answers_the_same_request_unless_what_is_proposed_is_more_pressing(
    changed: dict[str, Any], expected: bool
) -> None:
    assert stands(hips(order(**changed))) is expected


def test_an_order_is_no_answer_to_what_nobody_knew_when_it_was_placed() -> None:
    """Danger law 14: last week's order does not hold back what today's finding asks for."""
    found = pack().assess(visit(HIPS, history={"orders": [order()]}), readers=["native"])
    assert not stands(found)
    assert recheck(found).placed is not None


def test_an_order_with_our_own_key_answers_exactly_that_request() -> None:
    ours = order(target="ophthalmology", side="right", request_key=recheck(hips()).request_key)
    assert stands(hips(ours))


@pytest.mark.parametrize(
    ("counts", "changed", "expected"),
    [
        ("{status: [completed]}", {}, True),
        ("{}", {}, True),  # without a status, what is completed counts
        ("{status: [active]}", {}, False),
        ("{status: [completed]}", {"side": "right"}, False),
        ("{status: [completed]}", {"side": ""}, True),
        ("{status: [completed]}", {"target": "ophthalmology"}, False),
        ("{status: [completed]}", {"time": None}, True),
        ("{again_after: 3 d}", {"time": None}, False),  # nobody knows how long ago
        ("{where: {age: {at_least: 24 h}}}", {"time": None}, False),
        ("{again_after: 3 d}", {}, True),
        ("{again_after: 24 h}", {}, False),  # due again from this moment on
        ("{again_after: 24 h}", {"time": "2026-11-23T10:00:01-06:00"}, True),
        ("{where: {age: {at_least: 24 h}}}", {}, True),
        ("{where: {age: {at_least: 24 h}}}", {"time": FIRST_DAY}, False),
        ("{where: {age: {at_least: 24 h}}, again_after: 24 h}", {}, False),
    ],
)
def test_what_was_done_answers_as_the_target_says(counts: str, changed: dict[str, Any], expected: bool) -> None:
    assert stands(hips(order(status="completed", **changed), counts=counts)) is expected


def test_what_was_done_is_no_answer_to_what_is_pressing_now() -> None:
    done = {"target": "feeding_assessment", "status": "completed", "priority": "stat", "time": EARLIER}
    found = pack("{status: [completed]}").assess(visit(LOSS, history={"orders": [done]}), readers=["native"])
    [proposed] = [r for r in found.recommendations if r.target == "feeding_assessment"]
    assert proposed.priority == "asap"
    assert proposed.placed is not None
    assert proposed.placed.status == "completed"


@pytest.mark.parametrize(
    ("counts", "given", "expected"),
    [
        ("", None, False),
        ("", {"topic": "cord_care", "time": FIRST_DAY}, True),
        ("", {"topic": "cord_care"}, True),
        ("", {"topic": "feeding"}, False),
        ("{again_after: 3 d}", {"topic": "cord_care", "time": EARLIER}, True),
        ("{again_after: 3 d}", {"topic": "cord_care", "time": FIRST_DAY}, False),
        ("{again_after: 3 d}", {"topic": "cord_care"}, False),
        ("{where: {age: {at_least: 24 h}}}", {"topic": "cord_care", "time": FIRST_DAY}, False),
    ],
)
def test_guidance_that_was_given_is_not_owed(counts: str, given: dict[str, Any] | None, expected: bool) -> None:
    flat = visit({"cord_attached": "yes"}, history={"guidance": [given] if given else []})
    found = pack(counts).assess(flat, readers=["native"])
    assert ([r.target for r in found.guidance] == []) is expected
    assert not [r for r in found.standing if r.kind == "guide"]


@pytest.mark.parametrize(
    ("changed", "until", "overdue"),
    [
        ({"until": "2026-11-24T09:59:59-06:00"}, "2026-11-24T09:59:59-06:00", True),
        ({"until": NOW}, NOW, False),
        ({}, "2026-11-30T10:00:00-06:00", False),  # urgent: seven days
        ({"priority": "asap", "time": "2026-11-23T09:00:00-06:00"}, "2026-11-24T09:00:00-06:00", True),
        ({"priority": "stat", "time": "2026-11-23T09:00:00-06:00"}, "2026-11-24T09:00:00-06:00", True),
        ({"priority": "routine", "time": FIRST_DAY}, None, False),
        ({"priority": None, "time": FIRST_DAY}, None, False),
        ({"time": None}, None, False),
        ({"status": "revoked", "until": "2026-11-24T09:59:59-06:00"}, "2026-11-24T09:59:59-06:00", False),
    ],
)
def test_an_order_shows_when_it_was_to_be_done(changed: dict[str, Any], until: str | None, overdue: bool) -> None:
    made = recheck(hips(order(**changed)))
    assert made.placed is not None
    assert (made.placed.until, made.placed.overdue) == (until, overdue)
    assert made.placed.priority == changed.get("priority", "urgent")


@pytest.mark.parametrize(
    ("orders", "shown"),
    [
        ([order(reference="a", time=FIRST_DAY), order(reference="b")], "b"),
        ([order(reference="b", time=FIRST_DAY), order(reference="a")], "a"),
        ([order(reference="a"), order(reference="b")], "b"),
        ([order(reference="a", time=None), order(reference="b", time=FIRST_DAY)], "b"),
        ([order(reference="z", status="draft"), order(reference="a", time=FIRST_DAY)], "a"),
    ],
)
def test_of_several_orders_the_last_one_counts_and_a_draft_least(orders: list[dict[str, Any]], shown: str) -> None:
    for given in (orders, orders[::-1]):
        made = recheck(hips(*given))
        assert made.placed is not None
        assert made.placed.reference == shown
