"""One act, one line: what a more particular act meets joins it, with its reasons and what it asks for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from layette.engine.answer.laid.proposals import Place
from layette.engine.answer.resolved.grounds import Ground, ends_of
from layette.engine.logic.conditions import Status
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.terms import ASKED


def joined(
    grounds: Mapping[Place, Sequence[Ground]], targets: Mapping[str, TargetShape]
) -> Mapping[Place, Sequence[Ground]]:
    """Return the reasons by place, those for a target with `met_by` at the first of these that is surely asked for.

    A reason joins only an act that shares a moment with it; else it stands as it was.
    """
    if not any(targets[place[1]].met_by for place in grounds):
        return grounds
    out: dict[Place, list[Ground]] = {}
    for place, reasons in grounds.items():
        for ground in reasons:
            there = _joins(place, ground, grounds, targets[place[1]].met_by)
            out.setdefault(there or place, []).append(_at(there, ground) if there else ground)
    return out


def _joins(
    place: Place, ground: Ground, grounds: Mapping[Place, Sequence[Ground]], met_by: Sequence[str]
) -> Place | None:
    """Return the place that a reason joins, None where it stands by itself."""
    if place[0] not in ASKED or not met_by:
        return None
    return next((there for there in _meeting(place, grounds, met_by) if _meets(grounds[there], ground)), None)


def _meeting(place: Place, grounds: Iterable[Place], order: Sequence[str]) -> list[Place]:
    """Return the places of what meets a target, in the order of its `met_by`."""
    found = [p for p in grounds if p[0] in ASKED and p[1] in order and (not p[2] or p[2] == place[2])]
    return sorted(found, key=lambda p: (order.index(p[1]), p))


def _meets(reasons: Sequence[Ground], ground: Ground) -> bool:
    start, until = ends_of(ground)
    return any(
        reason.status is Status.FIRED and max(start, ends_of(reason)[0]) <= min(until, ends_of(reason)[1])
        for reason in reasons
    )


def _at(place: Place, ground: Ground) -> Ground:
    verb, target, side = place
    return ground._replace(proposal=replace(ground.proposal, verb=verb, target=target, side=side))
