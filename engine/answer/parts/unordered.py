"""Results that nobody ordered: they are unknown and yet not open, for a rule that hangs on them alone waits for nobody."""

from __future__ import annotations

from layette.engine.answer.parts.asked import waits_for
from layette.engine.answer.parts.context import Context
from layette.engine.logic.conditions import Status
from layette.engine.terms import WITHDRAWN

TAKEN_BACK = (*WITHDRAWN, "revoked")


def is_idle(index: int, context: Context) -> bool:
    """Whether an undecided rule hangs on nothing but results (`comes_by`) that nobody recorded or ordered.

    An order on record keeps it open, and so does one that is proposed at this visit.
    """
    if context.statuses[index] is not Status.UNDECIDED:
        return False
    asked = waits_for(index, context)
    return bool(asked) and all(item.kind == "finding" and _is_idle(item.finding, context) for item in asked)


def _is_idle(finding: str, context: Context) -> bool:
    known = context.idle_results.get(finding)
    if known is None:
        shape = context.pack.findings.get(finding)
        orders = shape.comes_by if shape is not None else []
        recorded = any(place[0] == finding for place in context.readings.by_place)
        known = bool(orders) and not recorded and not any(_is_on_its_way(target, context) for target in orders)
        context.idle_results[finding] = known
    return known


def _is_on_its_way(target: str, context: Context) -> bool:
    """Whether a target is ordered, or proposed by a rule that fired or is provisional."""
    if any(order.target == target and order.status not in TAKEN_BACK for order in context.visit.orders):
        return True
    leads = (index for (_, name), rules in context.plan.leads_to.items() if name == target for index, _, _ in rules)
    return any(context.statuses[index] in (Status.FIRED, Status.PROVISIONAL) for index in leads)
