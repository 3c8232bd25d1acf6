"""One episode, one recommendation: priority, window, reasons, keys."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence

from layette.engine.answer.laid.proposals import Place
from layette.engine.answer.parts.asked import asked_words, waits_for
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.keys import key
from layette.engine.answer.parts.reasons import rule_values
from layette.engine.answer.resolved.grounds import Ground
from layette.engine.answer.resolved.met import joined
from layette.engine.answer.resolved.resolve import Episode, answer_key, episode_name, episodes
from layette.engine.answer.shapes.part import known, later
from layette.engine.answer.shapes.proposed import Reason, Recommendation
from layette.engine.logic.conditions import Status
from layette.engine.terms import ASKED, PRIORITIES, Priority

STILL_SO = "only if it is still so then"

_recommendation, _reason = known(Recommendation), known(Reason)


def recommendations(
    grounds: Mapping[Place, Sequence[Ground]],
    context: Context,
    targets: Container[str] | None = None,
) -> list[Recommendation]:
    """Return what the reasons propose, the most pressing first; ``targets`` names those to look at, None all.

    Reasons for one act join before they are resolved (`met.py`). What a person is to judge is no proposal, and stands
    apart (`judge.py`).
    """
    shared = joined(grounds, context.pack.targets)
    made = [
        recommendation(episode, context)
        for place in sorted(shared)
        if place[0] != "judge" and (targets is None or place[1] in targets)
        for episode in episodes(shared[place])
    ]
    return by_urgency(made, context)


def by_urgency(made: Sequence[Recommendation], context: Context) -> list[Recommendation]:
    """Return recommendations in the order in which they press."""
    order, targets = context.plan.rule_order, context.pack.targets
    return sorted(
        made,
        key=lambda r: (
            PRIORITIES.index(r.priority),
            r.window.until or "9",
            not targets[r.target].foremost,
            order[r.reasons[0].rule],
            r.target,
            r.side or "",
        ),
    )


def recommendation(episode: Episode, context: Context) -> Recommendation:
    """Return one episode as it is published."""
    first, plan = episode.first, context.plan
    window = context.shown(episode.window)
    name = episode_name(episode, context)
    request = key("request", context.who, first.proposal.verb, first.proposal.target, first.side, name)
    # What is told, and what is not to be done, is one answer whenever it is asked for.
    timed = window if first.proposal.verb in ASKED else None
    answer = answer_key(request, PRIORITIES[first.rank], timed, plan.code_digits[first.proposal.target])
    return _recommendation(
        **plan.fixed.of_target(first.proposal.verb, first.proposal.target, first.side),
        priority=PRIORITIES[first.rank],
        certain=episode.certain,
        possible=_possible(first, context),
        window=window,
        do=tuple(dict.fromkeys(line for g in episode.grounds for line in _lines(g))),
        plain={**plan.plain(first.proposal.target, context.choices)},
        reasons=tuple([reason(ground, context) for ground in episode.grounds]),
        episode=name,
        request_key=request,
        answer_key=answer,
    )


def _lines(ground: Ground) -> Sequence[str]:
    consequence = ground.proposal.consequence
    return [STILL_SO, *consequence.do] if consequence.if_still else consequence.do


def _possible(first: Ground, context: Context) -> Priority:
    statuses, ruled_out, most, here = context.statuses, Status.RULED_OUT, first.rank, first.side
    for index, side, rank in context.plan.leads_to[first.proposal.verb, first.proposal.target]:
        if rank < most and statuses[index] is not ruled_out and (not side or side == here):
            most = rank
    return PRIORITIES[most]


def reason(ground: Ground, context: Context) -> Reason:
    """Return one reason as it is published, with the values of the world in which it holds."""
    fired = ground.status is Status.FIRED
    return _reason(
        **context.plan.fixed.of_reason(ground.number, ground.proposal.sources),
        status="fired" if fired else "provisional",
        values=later(lambda: rule_values(ground.number, ground.world or context)),
        unless=() if fired else later(lambda: (*ground.unless, *_unless(ground, context))),
        since=ground.since or None,
    )


def _unless(ground: Ground, context: Context) -> tuple[str, ...]:
    """Return what would replace a provisional reason of the base world."""
    if ground.world is not None:
        return ()
    return tuple(asked_words(wanted, context) for wanted in waits_for(ground.number, context))
