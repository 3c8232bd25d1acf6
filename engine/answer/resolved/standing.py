"""What already stands: an order that was placed, declined or done is not proposed a second time.

An order holds a proposal back only if it is as pressing, not overdue where it presses, and what was on record when it
was placed asked for it as pressingly (danger law 14): a fever of today is not answered by last week's order. What was
done settles a target only where the target says what counts (`satisfied_by`), for `again_after` if that is given.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.keys import key
from layette.engine.answer.resolved.drafts import kept, newest, proposed_until
from layette.engine.answer.resolved.due import wanted, wanted_now
from layette.engine.answer.resolved.orders import LIVE, as_placed, asking_for, end_of, is_overdue, rank_of
from layette.engine.answer.resolved.resolve import gather
from layette.engine.answer.shapes.proposed import Recommendation, Window
from layette.engine.exact.times import Moment, age_bounds, plus, stamp, within
from layette.engine.logic.program import Reader
from layette.engine.pack.written.rule_shapes import TargetShape, Wanted
from layette.engine.states.decide import decide
from layette.engine.visit.visit import PlacedOrder

PRESSING = ("stat", "asap")
_AT_ANY_TIME = [Wanted()]


@dataclass(frozen=True)
class Sorted:
    """What is proposed, what an earlier order answers, and what was ordered, presses and is overdue."""

    proposed: tuple[Recommendation, ...]
    standing: tuple[Recommendation, ...]
    to_chase: tuple[Recommendation, ...]


def sorted_out(made: Sequence[Recommendation], context: Context, readers: Sequence[Reader]) -> Sorted:
    """Sort recommendations by what the history holds for each; ``readers`` decide what earlier visits asked for."""
    proposed, standing, to_chase = [], [], []  # type: list[Recommendation], list[Recommendation], list[Recommendation]
    keys = {one.request_key for one in made}
    for one in made:
        if not context.visit.orders:
            (standing if is_satisfied(one, context) else proposed).append(one)
            continue
        others = keys - {one.request_key}
        orders = asking_for(one.target, one.side or "", one.request_key, others, context)
        late = [o for o in orders if o.status != "draft" and is_overdue(o, context) and o.priority in PRESSING]
        held = next((o for o in reversed(orders) if _holds(o, one, context, readers)), None)
        last = held or next(iter(reversed(late or orders)), None)
        told = one if last is None else one.model_copy(update={"placed": as_placed(last, context)})
        if is_satisfied(one, context) or held is not None:
            standing.append(told)
        elif late:
            to_chase.append(chased(told, late[-1], context))
        else:
            proposed.append(told)
    return Sorted(tuple(kept(proposed, context)), tuple(standing), tuple(to_chase))


def chased(made: Recommendation, order: PlacedOrder, context: Context) -> Recommendation:
    """Return a recommendation as the chase of an overdue order: its end, and the key of what is chased.

    What we had proposed beside the order, and was due before it, moves that end no later.
    """
    ends = (end_of(order, context), proposed_until(made.target, made.side or "", context))
    until = stamp(min(end for end in ends if end is not None), context.visit.zone)
    window = Window(until=until, text="overdue", overdue=True)
    return made.model_copy(update={"window": window, "answer_key": chase_key(made.request_key, order)})


def chase_key(request: str, order: PlacedOrder) -> str:
    """Return the answer key of a chase: the request and what is chased, whenever it is asked for."""
    return key("chase", request, order.reference or (order.time.text if order.time else ""))


def _holds(order: PlacedOrder, made: Recommendation, context: Context, readers: Sequence[Reader]) -> bool:
    if order.status in ("draft", "completed") or rank_of(order.priority) > rank_of(made.priority):
        return False
    if order.status not in LIVE and made.priority not in PRESSING:
        return True  # declined: not proposed at each visit again; but what presses now was not there to be declined
    if order.status == "on-hold" and made.priority in PRESSING:
        return False  # nobody acts on it
    if is_overdue(order, context) and (made.priority in PRESSING or order.priority in PRESSING):
        return False
    return _asked_when_placed(order, made, context, readers)


def _asked_when_placed(order: PlacedOrder, made: Recommendation, context: Context, readers: Sequence[Reader]) -> bool:
    """Whether what was on record when an order was placed already asked for this as pressingly."""
    if order.time is None:
        return False
    placed = order.time
    if placed.hi >= context.visit.at.lo or _newest(made, context) <= placed.hi:
        return True
    then = as_of(placed, context, readers)
    return any(
        ground.rank <= rank_of(made.priority)
        for (verb, target, side), grounds in gather(then, wanted_now(wanted(then, proposed=True), then)).items()
        if verb == made.kind and target == made.target and side in ("", made.side or "")
        for ground in grounds
    )


def as_of(placed: Moment, context: Context, readers: Sequence[Reader]) -> Context:
    """Return the decision at an earlier moment, of what was on record then."""
    visit, plan = context.visit, context.plan
    known = tuple(r._replace(here=True) for r in visit.readings if r.time.lo <= placed.hi)
    then = replace(visit, at=placed, until=placed, readings=known, orders=())
    return Context(decide(plan.states, then, readers, plan.rule_priorities), plan)


def _newest(made: Recommendation, context: Context) -> int:
    """Return the second of the newest value behind a recommendation; the visit's where none has a time."""
    found = newest(made, context)
    return context.visit.at.lo if found is None else found


def is_satisfied(made: Recommendation, context: Context) -> bool:
    """Whether what was given or done before is what is proposed, and still counts."""
    target: TargetShape = context.pack.targets[made.target]
    if made.kind == "guide":
        given = [g for g in context.visit.guidance if g.name == made.target]
        wanted = target.satisfied_by or _AT_ANY_TIME
        return any(_recent(g.time.lo if g.time else None, w, context) for g in given for w in wanted)
    if made.priority in PRESSING:
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
