"""Emergencies that were ordered and are overdue: chased, whether or not anybody looked again (danger law 14)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.keys import key
from layette.engine.answer.resolved.orders import DRAFT, as_placed, in_force, is_overdue
from layette.engine.answer.resolved.recommend import reason
from layette.engine.answer.resolved.resolve import episodes, gather
from layette.engine.answer.resolved.standing import PRESSING, as_of, chased
from layette.engine.answer.shapes.proposed import Reason, Recommendation, Window
from layette.engine.logic.program import Reader
from layette.engine.terms import VERBS, Kind, Priority
from layette.engine.visit.visit import PlacedOrder

WHY = "This was ordered and its time is past, and the record holds no result."


def overdue_orders(
    known: Sequence[Recommendation], context: Context, readers: Sequence[Reader]
) -> Iterator[Recommendation]:
    """Yield each overdue `stat` or `asap` order that none of ``known`` stands for, with the findings that made it."""
    told = {(one.target, one.side or "") for one in known}
    for order in in_force(context):
        pressing = order.priority in PRESSING and order.status != DRAFT and is_overdue(order, context)
        if pressing and order.target in context.pack.targets and (order.target, order.side) not in told:
            told.add((order.target, order.side))
            yield _chased(order, context, readers)


def _chased(order: PlacedOrder, context: Context, readers: Sequence[Reader]) -> Recommendation:
    target = context.pack.targets[order.target]
    kind: Kind = target.kind if target.kind in VERBS else "order"
    request = order.request_key or key("request", context.who, kind, order.target, order.side, "once")
    placed = as_placed(order, context)
    priority: Priority = placed.priority or "stat"
    made = Recommendation(
        target=order.target,
        kind=kind,
        label=target.label,
        subject=target.subject,
        side=order.side or None,
        priority=priority,
        certain=priority,
        possible=priority,
        window=Window(text="overdue", overdue=True),
        plain=context.plan.plain(order.target, context.choices),
        reasons=(_why(order, context, readers),),
        codes=context.plan.target_codes[order.target],
        category=target.category,
        performer=target.performer,
        episode="once",
        request_key=request,
        answer_key="",
        placed=placed,
    )
    return chased(made, order, context)


def _why(order: PlacedOrder, context: Context, readers: Sequence[Reader]) -> Reason:
    """Return the reason that the record gave when the order was placed; where it gives none, that it was ordered."""
    plain = Reason(rule="", title="Ordered and overdue", because=WHY, status="fired", values=(), sources=())
    if order.time is None:
        return plain
    then = as_of(order.time, context, readers)
    grounds = [
        ground
        for (_, target, side), reasons in gather(then, {}).items()
        if target == order.target and side in ("", order.side)
        for ground in reasons
    ]
    if not grounds:
        return plain
    first = episodes(grounds)[0].first
    return reason(first._replace(world=then), context)
