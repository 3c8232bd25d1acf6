"""The ways in which a feed adds orders, by danger law 14."""

from __future__ import annotations

from copy import deepcopy
from datetime import timedelta
from typing import Any

from support.feeds.emergencies import Emergency
from support.feeds.flat import Flat, Place, moment_of, stamped
from support.feeds.ways import HELD, way


def _ordered(one: Emergency, placed: timedelta | None, until: timedelta | None = None, **fields: Any) -> Flat:
    """Add an order for each target; times count from the start of the visit, and none lies before birth."""
    flat = deepcopy(one.flat)
    at, born = moment_of(flat["at"]), moment_of(flat["born"])
    times = {}
    if placed is not None:
        times["time"] = stamped(max(at + placed, born))
    if until is not None:
        times["until"] = stamped(at + until)
    flat["history"]["orders"] = [
        {"target": target, "side": side, "status": "active", "priority": "stat", **times, **fields}
        for target, side in one.targets
    ]
    return flat


DAYS, MINUTES = timedelta(days=1), timedelta(minutes=1)


@way(14, of_orders=True)
def an_order_that_is_overdue(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, -3 * DAYS, until=-60 * MINUTES)


@way(14, of_orders=True)
def an_order_of_three_days_ago(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, -3 * DAYS)


@way(14, of_orders=True)
def an_older_order_that_is_not_overdue(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, -3 * DAYS, until=DAYS)


@way(14, of_orders=True)
def a_less_pressing_order(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, 10 * MINUTES, priority="asap")


@way(14, of_orders=True)
def an_order_without_a_priority(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, 10 * MINUTES, priority=None)


@way(14, HELD, of_orders=True)
def an_order_as_pressing_under_another_key(one: Emergency, _: Place) -> Flat | None:
    """It was placed at this visit, so it holds."""
    return _ordered(one, 10 * MINUTES, request_key="another")


@way(14, of_orders=True)
def an_order_without_a_time(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, None)


@way(14, of_orders=True)
def an_order_dated_after_the_visit(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, 2 * DAYS)


@way(14, of_orders=True)
def a_draft(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, 10 * MINUTES, status="draft")


@way(14, of_orders=True)
def an_order_on_hold(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, 10 * MINUTES, status="on-hold")


@way(14, of_orders=True)
def an_order_entered_in_error(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, 10 * MINUTES, status="entered-in-error")


@way(14, of_orders=True)
def an_order_completed_before(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, -3 * DAYS, status="completed")


@way(14, of_orders=True)
def an_order_declined_before(one: Emergency, _: Place) -> Flat | None:
    return _ordered(one, -3 * DAYS, status="revoked")


@way(14, HELD, of_orders=True)
def an_order_declined_at_this_visit(one: Emergency, _: Place) -> Flat | None:
    """Declined is history: it is not proposed again."""
    return _ordered(one, 10 * MINUTES, status="revoked")


@way(14, of_orders=True)
def an_order_for_the_other_side(one: Emergency, _: Place) -> Flat | None:
    sides = {side for _, side in one.targets}
    if "" in sides:
        return None
    return _ordered(one, 10 * MINUTES, side="right" if "left" in sides else "left")


@way(14, HELD, of_orders=True)
def unchanged_and_examined_again_with_its_order_active(one: Emergency, _: Place) -> Flat | None:
    """Asked for once: an earlier visit saw it and ordered."""
    flat = _ordered(one, None)
    at, born = moment_of(flat["at"]), moment_of(flat["born"])
    seen = max(born + MINUTES, at - 180 * MINUTES)
    for place in one.places:
        item = place.item(flat)
        if not place.here or "T" not in item["time"] or moment_of(item["time"]) < at:
            seen = max(seen, moment_of(item["time"]))
            continue
        flat["history"]["findings"].setdefault(place.key, []).append({**item, "time": stamped(seen)})
    for order in flat["history"]["orders"]:
        order["time"] = stamped(seen + MINUTES)
    return flat
