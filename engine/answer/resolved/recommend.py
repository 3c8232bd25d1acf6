"""One episode, one recommendation: priority, window, reasons, keys."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence

from layette.engine.answer.parts.asked import asked_words, waits_for
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.keys import key
from layette.engine.answer.parts.labels import label_of
from layette.engine.answer.parts.proposals import Place
from layette.engine.answer.parts.reasons import rule_values
from layette.engine.answer.parts.told import codes_of
from layette.engine.answer.resolved.grounds import Ground
from layette.engine.answer.resolved.met import joined
from layette.engine.answer.resolved.resolve import Episode, answer_key, episode_name, episodes
from layette.engine.answer.shapes.part import known, later
from layette.engine.answer.shapes.proposed import Diagnosis, Reason, Recommendation
from layette.engine.logic.conditions import Status
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.views import View
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
    order = context.plan.rule_order
    return sorted(
        made,
        key=lambda r: (
            PRIORITIES.index(r.priority),
            r.window.until or "9",
            order[r.reasons[0].rule],
            r.target,
            r.side or "",
        ),
    )


def recommendation(episode: Episode, context: Context) -> Recommendation:
    """Return one episode as it is published."""
    first, plan = episode.first, context.plan
    target = context.pack.targets[first.proposal.target]
    window = context.shown(episode.window)
    name = episode_name(episode, context)
    request = key("request", context.who, first.proposal.verb, first.proposal.target, first.side, name)
    # What is told, and what is not to be done, is one answer whenever it is asked for.
    timed = window if first.proposal.verb in ASKED else None
    answer = answer_key(request, PRIORITIES[first.rank], timed, plan.code_digits[first.proposal.target])
    return _recommendation(
        target=first.proposal.target,
        kind=first.proposal.verb,
        label=target.label,
        subject=target.subject,
        side=first.side or None,
        priority=PRIORITIES[first.rank],
        certain=episode.certain,
        possible=_possible(first, context),
        window=window,
        do=tuple(dict.fromkeys(line for g in episode.grounds for line in _lines(g))),
        plain={**plan.plain(first.proposal.target, context.choices)},
        reasons=tuple([reason(ground, context) for ground in episode.grounds]),
        codes=plan.target_codes[first.proposal.target],
        category=target.category,
        performer=target.performer,
        looks_at=_looks_at(target, first.side, context) if target.recheck_of else (),
        episode=name,
        request_key=request,
        answer_key=answer,
    )


def _looks_at(target: TargetShape, side: str, context: Context) -> tuple[str, ...]:
    """Return the labels of what a recheck looks at again; of a finding with sides, the side that is asked about."""
    findings = context.pack.findings
    places = [(name, side if name in findings and findings[name].sides else "") for name in target.recheck_of]
    return tuple(label_of(context.pack, View(name, one_side)) for name, one_side in places)


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
    shape = ground.instance.rule.shape
    fired = ground.status is Status.FIRED
    stated = shape.diagnosis
    return _reason(
        rule=shape.id,
        title=shape.title,
        because=shape.because,
        status="fired" if fired else "provisional",
        values=later(lambda: rule_values(ground.number, ground.world or context)),
        sources=context.plan.citations(ground.proposal.sources),
        unless=() if fired else later(lambda: (*ground.unless, *_unless(ground, context))),
        since=ground.since or None,
        place=ground.instance.rule.place,
        diagnosis=Diagnosis(label=stated.label, codes=codes_of(stated.codes)) if stated else None,
    )


def _unless(ground: Ground, context: Context) -> tuple[str, ...]:
    """Return what would replace a provisional reason of the base world."""
    if ground.world is not None:
        return ()
    return tuple(asked_words(wanted, context) for wanted in waits_for(ground.number, context))
