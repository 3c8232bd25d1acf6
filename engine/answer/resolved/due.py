"""What is wanted by an age and not on record: screens, results, doses."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

from layette.engine.answer.laid.proposals import DueFinding, DueRule
from layette.engine.answer.laid.windows import RealWindow
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.timing import window_for
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Due
from layette.engine.exact.times import AgeBounds, within
from layette.engine.logic.conditions import Status
from layette.engine.states.looks import NOT_APPLICABLE
from layette.engine.visit.recordings import Readings, Where
from layette.engine.visit.visit import Recorded

State = Literal["later", "overdue", "due"]
_due = known(Due)


class Missing(NamedTuple):
    """Something that is not on record: the number of its rule, when it is wanted.

    ``told``: the record says that it was not done, or is complete without it; else nothing is known of it.
    """

    rule: int
    window: RealWindow
    state: State
    told: bool


def wanted(context: Context, *, proposed: bool = False) -> list[Missing]:
    """Return what is wanted by an age and not on record, now or later; ``proposed``: only what `wanted_now` takes."""
    statuses, at = context.statuses, context.visit.at.lo
    fired, provisional = Status.FIRED, Status.PROVISIONAL
    out = []
    for rule in context.plan.due_rules:
        status = statuses[rule.index]
        if (status is fired or status is provisional) and not on_record(rule, context.readings):
            told = said_not_done(rule, context.readings)
            if proposed and not told and rule.proposal.rank:
                continue
            window = window_for(rule.proposal, context)
            later = window.start is not None and window.start > at and not window.overdue
            state: State = "later" if later else ("overdue" if window.overdue else "due")
            out.append(Missing(rule.index, window, state, told))
    return out


def said_not_done(rule: DueRule, readings: Readings) -> bool:
    """Whether the record says "not done", or declares itself complete of what it does not hold."""
    complete, in_use = readings.visit.complete, readings.in_use
    if "observations" in complete:
        return True
    if rule.of_doses and "immunizations" in complete:
        return True
    return any(in_use.get(place) is not None for due in rule.findings for place in due.places)


def wanted_now(found: Sequence[Missing], context: Context) -> dict[int, RealWindow]:
    """Return the windows of what is proposed at this visit, by rule number: what was not done, and emergencies.

    What is merely not on record is looked up first (`due_items`); only an emergency does not wait for that.
    """
    ranks = context.plan.proposals
    return {
        one.rule: one.window for one in found if one.state != "later" and (one.told or ranks[one.rule][0].rank == 0)
    }


def due_items(found: Sequence[Missing], context: Context) -> tuple[Due, ...]:
    """Return what is wanted as it is published."""
    return tuple(_item(one, context) for one in found)


def proposed_anyway(due: Due) -> bool:
    """Whether what is not on record is proposed, not only to be looked up."""
    return due.said_not_done or due.priority == "stat"


def _item(one: Missing, context: Context) -> Due:
    return _due(
        **context.plan.fixed_due[one.rule],
        window=context.shown(one.window),
        state=one.state,
        said_not_done=one.told,
    )


def on_record(rule: DueRule, readings: Readings) -> bool:
    """Whether one of the findings is recorded on every side that applies, as `where` asks, or none applies."""
    apply = False
    for due in rule.findings:
        recorded = _recorded(due, rule.bounds, readings)
        if recorded:
            return True
        apply = apply or recorded is False
    return not apply


def _recorded(due: DueFinding, bounds: AgeBounds, readings: Readings) -> bool | None:
    """Whether a finding is on record on every side that applies; None where it does not apply."""
    if due.in_parts:
        attempts = readings.attempts(due.name)
        return any(_counts(r, due, bounds, readings) for made in attempts for r in made.values())
    in_use, applies = readings.in_use, None
    for place in due.places:
        if place not in in_use:
            return False
        used = in_use[place]
        if used is None or used.absent != NOT_APPLICABLE:
            applies = True
            if not (used and _counts(used, due, bounds, readings)) and not _any_counts(place, due, bounds, readings):
                return False
    return applies


def _any_counts(place: Where, due: DueFinding, bounds: AgeBounds, readings: Readings) -> bool:
    return any(_counts(r, due, bounds, readings) for r in readings.all(*place))


def _counts(made: Recorded, due: DueFinding, bounds: AgeBounds, readings: Readings) -> bool:
    """Whether a recording has a value that counts at this visit, made at an age within ``bounds``."""
    if made.possible is None or not (made.here or due.carries_over):
        return False
    born, time = readings.visit.born, made.time
    return not bounds or within(bounds, time.lo - born.hi, time.hi - born.lo)
