"""What already stands: an order that was placed, declined or done is not proposed a second time.

A more pressing answer than the one that stands is always proposed, and says so. What was done settles a target only
where the target says what counts (`satisfied_by`), for `again_after` if that is given: a fever that was worked up last
week is no answer to today's.
"""

from __future__ import annotations

from typing import Any

from layette.engine.answer.assessment import Placed, Recommendation
from layette.engine.answer.context import Context
from layette.engine.answer.resolve import Ground
from layette.engine.answer.timing import SPAN
from layette.engine.exact.times import age_bounds, plus, stamp, within
from layette.engine.pack.written.rule_shapes import TargetShape, Wanted
from layette.engine.terms import PRIORITIES, Priority
from layette.engine.visit.visit import PlacedOrder

LIVE = ("draft", "active", "on-hold")
ENDED = ("completed", "revoked")


def placed_for(ground: Ground, request: str, context: Context) -> Placed | None:
    """Return the order of the history that answers the same request, the last one where there are several."""
    found = [o for o in context.visit.orders if o.status in LIVE + ENDED and _same_request(o, ground, request)]
    if not found:
        return None
    last = max(found, key=lambda o: (o.status != "draft", o.time.lo if o.time else 0, o.reference))
    until = _until(last, context)
    priority: Any = last.priority if last.priority in PRIORITIES else None
    return Placed(
        reference=last.reference or None,
        status=last.status,
        priority=priority,
        time=last.time.text if last.time else None,
        until=None if until is None else stamp(until, context.visit.zone),
        overdue=last.status in LIVE and until is not None and until < context.visit.at.lo,
    )


def _same_request(order: PlacedOrder, ground: Ground, request: str) -> bool:
    if order.request_key:
        return order.request_key == request
    return order.target == ground.proposal.target and order.side in ("", ground.side)


def _until(order: PlacedOrder, context: Context) -> int | None:
    if order.until is not None:
        return order.until.hi
    span = SPAN.get(order.priority or "routine")  # type: ignore[call-overload]
    if order.time is None or (span is None and order.priority != "stat"):
        return None
    return plus(order.time.lo, span or "24 h", context.visit.zone)


def stands(made: Recommendation, context: Context) -> bool:
    """Whether an earlier order or its result answers this recommendation, so that nothing is to be proposed."""
    target = context.pack.targets[made.target]
    if _satisfied(made, target, context):
        return True
    order = made.placed
    if order is None or order.status == "draft":
        return False
    as_pressing = rank_of(order.priority) <= rank_of(made.priority)
    if order.status == "completed":
        return False
    return as_pressing


def rank_of(priority: Priority | None) -> int:
    """Return the place of a priority, 0 for stat; FHIR: a request without one is to be done with normal priority."""
    return PRIORITIES.index(priority or "routine")


def _satisfied(made: Recommendation, target: TargetShape, context: Context) -> bool:
    if made.kind == "guide":
        given = [g for g in context.visit.guidance if g.name == made.target]
        wanted = target.satisfied_by or [Wanted()]
        return any(_recent(g.time.lo if g.time else None, w, context) for g in given for w in wanted)
    if made.priority in ("stat", "asap"):
        return False  # what was done before is no answer to what is pressing now
    done = [o for o in context.visit.orders if o.target == made.target and o.side in ("", made.side or "")]
    return any(
        o.status in (w.status or ["completed"]) and _recent(o.time.lo if o.time else None, w, context)
        for o in done
        for w in target.satisfied_by
    )


def _recent(when: int | None, wanted: Wanted, context: Context) -> bool:
    """Whether what was done at ``when`` still counts: at the right age, and not so long ago that it is due again."""
    if when is None:
        return wanted.again_after is None and wanted.where is None
    if wanted.again_after is not None and plus(when, wanted.again_after, context.visit.zone) <= context.visit.at.lo:
        return False
    age = when - context.visit.born.lo
    return within(age_bounds((wanted.where or {}).get("age", {})), age, age)
