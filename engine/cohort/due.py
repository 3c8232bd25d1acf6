"""What was due at one visit of a cohort, in rows of plain values: as `assemble` works it out, without words.

What the rules ask for is told whatever was ordered since; what an earlier order or act answered at the visit already is
marked so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, NamedTuple

from layette.engine.answer.laid.windows import RealWindow
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.answer.resolved.chase import overdue_orders
from layette.engine.answer.resolved.due import Missing, wanted, wanted_now
from layette.engine.answer.resolved.grounds import Ground
from layette.engine.answer.resolved.judge import to_judge
from layette.engine.answer.resolved.met import joined
from layette.engine.answer.resolved.recommend import recommendation
from layette.engine.answer.resolved.resolve import Episode, episodes, gather
from layette.engine.answer.resolved.standing import sorted_out
from layette.engine.answer.resolved.worlds import Grounds, weigh
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.exact.times import moment
from layette.engine.logic.conditions import Status
from layette.engine.logic.program import Reader
from layette.engine.pack.written.shapes import listed
from layette.engine.terms import ASKED, PRIORITIES

NOT_ON_RECORD = "not on record"


class DueRow(NamedTuple):
    """One rule that asks for a target; rows of one ``episode`` are one recommendation, ``lead`` sets its priority.

    ``start`` and ``until`` are UTC seconds, None where open; ``until`` is the true end, past or not. ``anchor``: which
    moment that the window counts from is not known. ``stood``: an earlier order or act answers it at this visit.
    """

    episode: int
    lead: bool
    kind: str
    target: str
    side: str | None
    subject: str
    rule: str
    status: str
    rule_priority: str
    priority: str
    start: int | None
    until: int | None
    overdue: bool
    anchor: str | None
    stood: bool


@dataclass(frozen=True)
class DueAt:
    """What was due at a visit: the most pressing first; targets to judge; findings of which the record is silent.

    ``to_chase``: targets that were ordered before, press, and are overdue, whatever was looked at this time.
    ``added_worlds``: decided with conflicting, pending or standing values, or with an order to weigh.
    """

    rows: tuple[DueRow, ...]
    to_judge: tuple[str, ...]
    not_on_record: tuple[str, ...]
    to_chase: tuple[str, ...]
    added_worlds: bool
    worst: str | None = field(init=False)

    def __post_init__(self) -> None:
        """Find the highest priority of what is asked for."""
        asked = [r.priority for r in self.rows if r.kind in ASKED and r.status != NOT_ON_RECORD]
        object.__setattr__(self, "worst", min(asked, key=PRIORITIES.index, default=None))

    @property
    def number(self) -> int:
        """How many recommendations to refer, order or look again there are."""
        return sum(row.lead for row in self.rows if row.kind in ASKED and row.status != NOT_ON_RECORD)


def due_at(context: Context, readers: Sequence[Reader]) -> DueAt:
    """Return what was due at a visit; ``readers`` decide the added worlds."""
    missing = wanted(context)
    base = gather(context, wanted_now(missing, context))
    weighed = weigh(context, base, readers)
    made = sorted(episodes_of(weighed.grounds, context.plan), key=lambda one: (one.first.rank, *one.first.order[1:]))
    history = weighed_orders(made, context, readers)
    silent = [one for one in missing if one.state != "later" and not one.told and _rank(one, context)]
    rows = [row for n, one in enumerate(made, 1) for row in rows_of(n, one, n - 1 in history.stood, context.plan)]
    if history.proposed:
        rows = [row._replace(**history.proposed.get(row.episode - 1, {})) for row in rows]
    rows += [_silent(len(made) + n, one, context) for n, one in enumerate(silent, 1)]
    judged = dict.fromkeys(one.target for one in to_judge(weighed.doubts, weighed.judged, context))
    names = dict.fromkeys(listed(context.pack.instances[one.rule].rule.shape.due)[0] for one in silent)
    added = any(ground.world for reasons in weighed.grounds.values() for ground in reasons)
    added = added or bool(weighed.doubts) or bool(context.visit.orders)
    return DueAt(tuple(rows), tuple(judged), tuple(names), history.to_chase, added)


def _rank(one: Missing, context: Context) -> int:
    return context.plan.proposals[one.rule][0].rank


def episodes_of(grounds: Grounds, plan: AnswerPlan) -> list[Episode]:
    """Return the recommendations that reasons by place make, by place."""
    shared = joined(grounds, plan.pack.targets)
    return [one for place in sorted(shared) if place[0] != "judge" for one in episodes(shared[place])]


class Weighed(NamedTuple):
    """What the history says, by the place of an episode: what it answers; what is asked as a draft of ours asked it.

    ``to_chase``: what was ordered, presses and is overdue.
    """

    stood: frozenset[int] = frozenset()
    proposed: Mapping[int, Mapping[str, Any]] = MappingProxyType({})
    to_chase: tuple[str, ...] = ()


def weighed_orders(made: Sequence[Episode], context: Context, readers: Sequence[Reader]) -> Weighed:
    """Weigh what is asked by the history. Most visits have no history of acts, and nothing to weigh."""
    if not context.visit.orders and not context.visit.guidance:
        return Weighed()
    asked = {k: one for k, one in enumerate(made) if _may_be_answered(one, context)}
    told = {k: recommendation(one, context) for k, one in asked.items()}
    found = sorted_out([*told.values()], context, readers)
    standing = {one.request_key for one in found.standing}
    late = overdue_orders([*found.proposed, *found.to_chase], context, readers)
    to_chase = dict.fromkeys(one.target for one in (*found.to_chase, *late))
    stood = frozenset(k for k, one in told.items() if one.request_key in standing)
    return Weighed(stood, _as_proposed(told, found.proposed, context), tuple(to_chase))


def _may_be_answered(one: Episode, context: Context) -> bool:
    """Whether the history may answer what is asked: by its target, or by any key that an order carries."""
    visit, proposal = context.visit, one.first.proposal
    if proposal.verb == "guide" and visit.guidance:
        return True
    return any(order.request_key or order.target == proposal.target for order in visit.orders)


def _as_proposed(
    told: Mapping[int, Recommendation], proposed: Sequence[Recommendation], context: Context
) -> dict[int, dict[str, Any]]:
    """Return priority and window of what a draft of ours asked for more pressingly, or earlier, than today's rules."""
    kept = {_place(one): one for one in proposed}
    pairs = ((k, one, kept.get(_place(one), one)) for k, one in told.items())
    return {
        k: {
            "priority": now.priority,
            "start": _second(now.window.start, context),
            "until": _second(now.window.until, context),
            "overdue": now.window.overdue,
        }
        for k, one, now in pairs
        if (now.priority, now.window) != (one.priority, one.window)
    }


def _place(one: Recommendation) -> tuple[str, str, str | None, str]:
    return one.kind, one.target, one.side, one.episode


def _second(text: str | None, context: Context) -> int | None:
    return None if text is None else moment(text, context.visit.zone).lo


def rows_of(number: int, episode: Episode, stood: bool, plan: AnswerPlan) -> Iterator[DueRow]:
    """Yield the rows of one recommendation, the first of its rules first."""
    window, seen, rank = episode.window, set[str](), episode.first.rank
    for ground in episode.grounds:
        rule = ground.instance.rule.shape.id
        if rule not in seen:
            yield _row(number, not seen, stood, ground, rank, window, plan)
            seen.add(rule)


def _row(
    number: int, lead: bool, stood: bool, ground: Ground, rank: int, window: RealWindow, plan: AnswerPlan
) -> DueRow:
    verb, target, side = ground.proposal.place
    status = "fired" if ground.status is Status.FIRED else "provisional"
    return DueRow(
        number, lead, verb, target, side or None, plan.pack.targets[target].subject,
        ground.instance.rule.shape.id, status, PRIORITIES[ground.rank], PRIORITIES[rank],
        window.start, _end(window), window.overdue, window.missing, stood,
    )  # fmt: skip


def _silent(number: int, one: Missing, context: Context) -> DueRow:
    proposal, shape = context.plan.proposals[one.rule][0], context.pack.instances[one.rule].rule.shape
    verb, target, side = proposal.place
    return DueRow(
        number, True, verb, target, side or None, context.pack.targets[target].subject, shape.id, NOT_ON_RECORD,
        proposal.priority, proposal.priority, one.window.start, _end(one.window), one.window.overdue,
        one.window.missing, False,
    )  # fmt: skip


def _end(window: RealWindow) -> int | None:
    """Return the end of a window; of one that was past at the visit, the true one."""
    return window.due if window.overdue and window.due is not None else window.until
