"""Results that are there only if somebody ordered them: no baby waits for those that nobody did.

So are further attempts at a screen of which there is one: what they would show, nobody waits for.
"""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.answer.laid.ordered import each_code
from layette.engine.answer.parts.context import Context
from layette.engine.logic.conditions import State, Status
from layette.engine.logic.program import NO, YES
from layette.engine.pack.written.views import NA

LIVE = ("draft", "active", "on-hold")


def waits_for_nobody(index: int, context: Context) -> bool:
    """Whether a rule that the pack marks `if_ordered` could only fire by a result that nobody ordered.

    It is then asked of nobody, and no target is unsettled for its sake; its status stays undecided. A result counts as
    ordered once a specimen or an attempt is on record, or a live order for a target of its code; a further attempt at a
    screen once it was made.
    """
    rule = context.plan.if_ordered.get(index)
    if rule is None or context.statuses[index] is not Status.UNDECIDED:
        return False
    states = _without_results(context)
    for var, concluded in rule.conclusions:
        states[var] = _state_of(concluded(states))
    return not rule.holds(states)


def _without_results(context: Context) -> list[State]:
    """Return the states as if results and attempts that nobody ordered did not apply; worked out once a visit."""
    if context.without_results is None:
        states = list(context.states)
        for name in _not_ordered(context):
            for var, entry in context.plan.states.variables_of.get(name, ()):
                states[var] = NO if entry.kind == "flag" else NA
        for var in _further_attempts(context):
            states[var] = NA
        context.without_results = states
    return list(context.without_results)


def _not_ordered(context: Context) -> Iterator[str]:
    targets, orders = context.pack.targets, context.visit.orders
    placed = [targets[order.target] for order in orders if order.status in LIVE and order.target in targets]
    ordered = {code for target in placed for code in each_code(target.codes)}
    for name, (places, codes) in context.plan.awaited.items():
        recorded = any(context.readings.used(*place) for place in places)
        if not recorded and ordered.isdisjoint(codes):
            yield name


def _further_attempts(context: Context) -> Iterator[int]:
    """Yield the variables that look at attempts after those on record, of a screen of which one is."""
    for name in context.plan.in_parts:
        made = len(context.readings.attempts(name))
        for var, entry in context.plan.states.variables_of.get(name, ()) if made else ():
            if entry.view.attempt > made:
                yield var


def _state_of(answer: int) -> State:
    return {1: YES, 0: NO}.get(answer, YES | NO)
