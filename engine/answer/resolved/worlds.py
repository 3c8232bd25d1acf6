"""What careless data must not hide: added worlds beside the one that is known (danger laws 10, 12, 13).

The base world decides by what is surely known. Where recordings of one moment differ, each alternative is decided by
itself: what every one of them brings is certain; what only some bring, and presses, is to be judged. A later value that
is not settled, and what was abnormal and nobody looked at again, are worlds too: they add provisional reasons and take
none away. A sex that is not known is two worlds, whose emergencies are to be judged. So is what several doubts bring
only together (`together.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from layette.engine.answer.laid.proposals import Place
from layette.engine.answer.parts.context import Context
from layette.engine.answer.resolved.alike import each_that_differs
from layette.engine.answer.resolved.doubtful import ASAP, Doubt, Doubtful, all_among, doubtful, pending, standing
from layette.engine.answer.resolved.due import wanted, wanted_now
from layette.engine.answer.resolved.grounds import Ground
from layette.engine.answer.resolved.resolve import gather
from layette.engine.answer.resolved.together import together
from layette.engine.logic.conditions import Status
from layette.engine.logic.program import Reader
from layette.engine.states.decide import decide
from layette.engine.terms import ASKED, PRIORITIES
from layette.engine.visit.visit import Recorded, Visit

Grounds = dict[Place, list[Ground]]


@dataclass(frozen=True)
class Weighed:
    """The reasons of a visit by place, with those of the added worlds, and what these leave to be judged."""

    grounds: Grounds
    doubts: tuple[Doubt, ...]

    @property
    def judged(self) -> tuple[Ground, ...]:
        """The reasons of rules that say that a value is to be judged, and could bring more than is asked for."""
        said = (ground for place, reasons in self.grounds.items() if place[0] == "judge" for ground in reasons)
        return tuple(ground for ground in said if not self._asked_for(ground))

    def _asked_for(self, ground: Ground) -> bool:
        """Whether what a value could bring is asked for as pressingly, whatever is still open."""
        _, target, side = ground.proposal.place
        return any(
            other.status is Status.FIRED and other.rank <= ground.rank
            for place, reasons in self.grounds.items()
            if place[0] in ASKED and place[1] == target and place[2] in ("", side)
            for other in reasons
        )


@dataclass(frozen=True)
class World:
    """One way in which things may be: what is decided there, and what it brings."""

    context: Context
    grounds: Grounds


def weigh(context: Context, base: Grounds, readers: Sequence[Reader]) -> Weighed:
    """Return the reasons of the base world with what the added worlds bring; ``readers`` read those."""
    grounds = {place: list(reasons) for place, reasons in base.items()}
    doubts: list[Doubt] = []
    worlds: list[World] = []
    about = [*doubtful(context.readings)]
    for one in about:
        decided = _decided(context, one, readers)
        if one.either:
            _add_certain(grounds, [world.grounds for world in decided])
        doubts += _doubts(grounds, decided, one)
        worlds += decided
    for found, add in ((pending(context.readings), _add_pending), (standing(context.readings), _add_standing)):
        counted = [*found]
        if counted:
            world = _world(context, _with_all(context.visit, counted), readers)
            add(grounds, world, counted)
            doubts += _doubts_within(world, grounds, context, readers)
            worlds.append(world)
            about += counted
    if len(about) > 1:
        doubts += together(context, about, [world.context for world in worlds])
    return Weighed(grounds, tuple(_pressing_once(doubts, grounds)))


def _decided(context: Context, one: Doubtful, readers: Sequence[Reader]) -> list[World]:
    """Decide each thing that may be so; of many numbers those that stand for the rest (`alike.py`)."""
    return [*each_that_differs(one, lambda way: _world(context, way.of(context.visit), readers))]


def _world(context: Context, visit: Visit, readers: Sequence[Reader]) -> World:
    plan = context.plan
    world = Context(decide(plan.states, visit, readers, plan.rule_priorities), plan)
    found = gather(world, wanted_now(wanted(world, proposed=True), world))
    return World(world, {place: [g._replace(world=world) for g in reasons] for place, reasons in found.items()})


def _with_all(visit: Visit, counted: Iterable[Doubtful]) -> Visit:
    for one in counted:
        visit = one.ways[0].of(visit)
    return visit


def _doubts_within(world: World, grounds: Grounds, context: Context, readers: Sequence[Reader]) -> Iterator[Doubt]:
    """Yield what only some of the things bring that are doubtful in a world and not in the visit as it is read."""
    for one in doubtful(world.context.readings):
        if not all_among(one.readings, context.visit.readings):
            decided = _decided(world.context, one, readers)
            yield from _doubts(grounds, decided, one)


def _add_certain(grounds: Grounds, worlds: Sequence[Grounds]) -> None:
    """Add what every world brings, at the weakest of their priorities."""
    for place in set.intersection(*map(set, worlds)):
        weakest = max((world[place] for world in worlds), key=_rank)
        if place not in grounds or _rank(grounds[place]) > _rank(weakest):
            known = {ground.number for ground in grounds.get(place, ())}
            grounds.setdefault(place, []).extend(g for g in weakest if g.number not in known)


def _doubts(grounds: Grounds, worlds: Sequence[World], one: Doubtful) -> Iterator[Doubt]:
    """Yield what some world brings, pressing enough, and the reasons so far do not."""
    for world in worlds:
        for place, reasons in world.grounds.items():
            if place[0] in ("reassure", "guide"):
                continue
            pressing = min(reasons, key=lambda ground: ground.order)
            held = _rank(grounds[place]) if place in grounds else len(PRIORITIES)
            if pressing.rank <= one.least and pressing.rank < held:
                yield Doubt(pressing, one)


def _add_pending(grounds: Grounds, world: World, waiting: Sequence[Doubtful]) -> None:
    """Add, as provisional, what later values that are not settled would bring as `stat` or `asap`."""
    readings = [reading for one in waiting for reading in one.readings]
    labels = dict.fromkeys(_label(reading, world.context) for reading in readings)
    unless = tuple(f"the final value of {label} says otherwise" for label in labels)
    for place, reasons in world.grounds.items():
        if place[0] in ("reassure", "guide"):
            continue
        pressing = [g._replace(status=Status.PROVISIONAL, unless=unless) for g in reasons if g.rank <= ASAP]
        _add_provisional(grounds, place, pressing)


def _add_standing(grounds: Grounds, world: World, stands: Sequence[Doubtful]) -> None:
    """Add, as provisional, what was abnormal at another visit and nobody looked at again."""
    seen = [reading for one in stands for reading in one.readings]
    for place, reasons in world.grounds.items():
        if place[0] == "reassure":
            continue
        added = []
        for ground in reasons:
            behind = [r for r in seen if r.finding in world.context.plan.tested[ground.number]]
            if behind and not _done_since(place, max(r.time.lo for r in behind), world.context.visit):
                days = " and ".join(dict.fromkeys(r.time.text[:10] for r in behind))
                added.append(ground._replace(status=Status.PROVISIONAL, since=f"not looked at again since {days}"))
        _add_provisional(grounds, place, added)


def _add_provisional(grounds: Grounds, place: Place, reasons: Sequence[Ground]) -> None:
    known = {ground.number for ground in grounds.get(place, ())}
    fresh = [ground for ground in reasons if ground.number not in known]
    if fresh and (place not in grounds or _rank(grounds[place]) > _rank(fresh)):
        grounds.setdefault(place, []).extend(fresh)


def _done_since(place: Place, since: int, visit: Visit) -> bool:
    """Whether an order for the same target and side was surely placed after the finding was made, and completed."""
    _, target, side = place
    return any(
        o.status == "completed" and o.target == target and o.side in ("", side) and o.time is not None
        and o.time.hi >= since
        for o in visit.orders
    )  # fmt: skip


def _pressing_once(doubts: Sequence[Doubt], grounds: Mapping[Place, Sequence[Ground]]) -> Iterator[Doubt]:
    """Yield each doubt once a place, the most pressing, unless a reason that came in later holds it already."""
    by_place: dict[Place, Doubt] = {}
    for doubt in sorted(doubts, key=lambda d: d.ground.order):
        by_place.setdefault(doubt.ground.proposal.place, doubt)
    for place, doubt in by_place.items():
        if place not in grounds or _rank(grounds[place]) > doubt.ground.rank:
            yield doubt


def _rank(reasons: Iterable[Ground]) -> int:
    return min(ground.rank for ground in reasons)


def _label(reading: Recorded, context: Context) -> str:
    label = context.pack.findings[reading.finding].label
    return f"{label}, {reading.side}" if reading.side else label
