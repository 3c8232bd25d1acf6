"""The orders of the history: which of them asks for what is proposed, until when, and whether it is overdue."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.timing import SPAN
from layette.engine.answer.shapes.proposed import Placed
from layette.engine.exact.times import DAY, day_number, plus, stamp
from layette.engine.terms import PRIORITIES, Priority
from layette.engine.visit.visit import PlacedOrder

DRAFT = "draft"
LIVE = (DRAFT, "active", "on-hold")
ENDED = ("completed", "revoked")


def rank_of(priority: str | None) -> int:
    """Return the place of a priority, 0 for stat; FHIR: a request without one is to be done with normal priority."""
    return PRIORITIES.index(priority) if priority in PRIORITIES else PRIORITIES.index("routine")


def in_force(context: Context) -> list[PlacedOrder]:
    """Return the orders that had been placed by the end of the visit; where it has no end, by that of its day."""
    return [order for order in context.visit.orders if not placed_after(order, context)]


def placed_after(order: PlacedOrder, context: Context) -> bool:
    """Whether an order is dated after the visit: it is kept, named, and not used (danger law 14)."""
    visit = context.visit
    if order.time is None:
        return False
    if visit.until.hi > visit.at.hi:
        return order.time.lo > visit.until.hi
    return order.time.lo >= visit.at.lo + DAY or day_number(order.time.lo, visit.zone) > day_number(
        visit.at.lo, visit.zone
    )


def asking_for(target: str, side: str, request: str, others: Collection[str], context: Context) -> list[PlacedOrder]:
    """Return the orders for a target and side, the last one last.

    Matched whatever the key that an order carries; but one that answers another of this visit's requests (``others``)
    is that one's, and where an order carries this very ``request`` key the rest are older.
    """
    told = [o for o in in_force(context) if o.status in LIVE + ENDED and o.request_key not in others]
    mine = [o for o in told if o.request_key == request]
    known = [o for o in told if o.target == target and o.side in ("", side)]
    return sorted(mine or known, key=lambda o: (o.status != DRAFT, o.time.lo if o.time else 0, o.reference))


def end_of(order: PlacedOrder, context: Context) -> int | None:
    """Return the second by which an order is to be done: its own end, else that of its priority."""
    if order.until is not None:
        return order.until.hi
    span = SPAN[PRIORITIES[rank_of(order.priority)]]
    if order.time is None or (span is None and order.priority != "stat"):
        return None
    return plus(order.time.lo, span or "24 h", context.visit.zone)


def is_overdue(order: PlacedOrder, context: Context) -> bool:
    """Whether an order lives and its end is past."""
    end = end_of(order, context)
    return order.status in LIVE and end is not None and end < context.visit.at.lo


def as_placed(order: PlacedOrder, context: Context) -> Placed:
    """Return an order as it is published."""
    end = end_of(order, context)
    priority: Priority | Any = order.priority if order.priority in PRIORITIES else None
    return Placed(
        reference=order.reference or None,
        status=order.status,
        priority=priority,
        time=order.time.text if order.time else None,
        until=None if end is None else stamp(end, context.visit.zone),
        overdue=is_overdue(order, context),
    )
