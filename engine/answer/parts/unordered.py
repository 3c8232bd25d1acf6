"""Results that are there only if somebody ordered them: no baby waits for those that nobody did."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.answer.parts.context import Context
from layette.engine.logic.conditions import AllOf, State, Status, evaluate, variables
from layette.engine.logic.program import NO, YES
from layette.engine.pack.written.views import NA

LIVE = ("draft", "active", "on-hold")


def waits_for_nobody(index: int, context: Context) -> bool:
    """Whether a rule that the pack marks `if_ordered` could only fire by a result that nobody ordered.

    It is then asked of nobody, and no target is unsettled for its sake; its status stays undecided. A result counts as
    ordered once a specimen or an attempt is on record, or a live order for a target of its code.
    """
    if index not in context.plan.if_ordered or context.statuses[index] is not Status.UNDECIDED:
        return False
    rule, states = context.pack.program.rules[index], _without_results(context)
    own = AllOf((rule.applies, rule.when))
    for var in variables(own):
        name = context.pack.table.entries[var].view.subject
        if name in context.plan.states.conclusion_flags:
            states[var] = _state_of(context.plan.states.conclusion_flags[name](states))
    return not evaluate(own, states).may


def _without_results(context: Context) -> list[State]:
    """Return the states as if results that nobody ordered did not apply; worked out once a visit."""
    if context.without_results is None:
        states = list(context.states)
        for name in _not_ordered(context):
            for var, entry in context.plan.states.variables_of.get(name, ()):
                states[var] = NO if entry.kind == "flag" else NA
        context.without_results = states
    return list(context.without_results)


def _not_ordered(context: Context) -> Iterator[str]:
    targets, orders = context.pack.targets, context.visit.orders
    placed = [targets[order.target] for order in orders if order.status in LIVE and order.target in targets]
    codes = {code for target in placed for code in _codes(target.codes)}
    for name, shape in context.pack.findings.items():
        recorded = any(context.readings.latest(name, side).used for side in shape.sides or ("",))
        if shape.awaited and not recorded and not codes.intersection(_codes(shape.codes)):
            yield name


def _codes(codes: dict[str, str | list[str]]) -> Iterator[tuple[str, str]]:
    for system, listed in codes.items():
        yield from ((system, code) for code in ([listed] if isinstance(listed, str) else listed))


def _state_of(answer: int) -> State:
    return {1: YES, 0: NO}.get(answer, YES | NO)
