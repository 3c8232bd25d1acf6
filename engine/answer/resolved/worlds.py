"""What careless data must not hide: added worlds beside the one that is known (danger laws 10, 12, 13).

The base world decides by what is surely known. Where recordings of one moment differ, each alternative is decided by
itself: what every one of them brings is certain; what only some bring, and presses, is to be judged. A later value that
is not settled, and what was abnormal and nobody looked at again, are worlds too: they add provisional reasons and take
none away. A sex that is not known is two worlds, whose emergencies are to be judged.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.proposals import Place
from layette.engine.answer.resolved.due import wanted, wanted_now
from layette.engine.answer.resolved.grounds import Ground
from layette.engine.answer.resolved.resolve import gather
from layette.engine.logic.conditions import Status, variables
from layette.engine.logic.program import Reader
from layette.engine.pack.written.subjects import SEXES
from layette.engine.states.decide import decide
from layette.engine.terms import ASKED, PRIORITIES
from layette.engine.visit.visit import Recorded, Visit

STAT, ASAP = PRIORITIES.index("stat"), PRIORITIES.index("asap")
Grounds = dict[Place, list[Ground]]


@dataclass(frozen=True)
class Doubt:
    """What only some of the possible worlds bring, and presses: a person looks and decides.

    ``readings`` are the recordings that leave it open; none where the sex is not known.
    """

    ground: Ground
    readings: tuple[Recorded, ...]


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


def weigh(context: Context, base: Grounds, readers: Sequence[Reader]) -> Weighed:
    """Return the reasons of the base world with what the added worlds bring; ``readers`` read those."""
    grounds = {place: list(reasons) for place, reasons in base.items()}
    doubts: list[Doubt] = []
    for members in context.readings.conflicts():
        worlds = [_world(context, _only(context.visit, members, one), readers) for one in members]
        _add_certain(grounds, worlds)
        doubts += _doubts(grounds, worlds, ASAP, members)
    if context.visit.sex is None:
        worlds = [_world(context, replace(context.visit, sex=sex), readers) for sex in SEXES]
        doubts += _doubts(grounds, worlds, STAT, ())
    _add_pending(grounds, context, readers)
    _add_standing(grounds, context, readers)
    return Weighed(grounds, tuple(_pressing_once(doubts, grounds)))


def _world(context: Context, visit: Visit, readers: Sequence[Reader]) -> Grounds:
    plan = context.plan
    world = Context(decide(plan.states, visit, readers, plan.rule_priorities), plan)
    found = gather(world, wanted_now(wanted(world), world))
    return {place: [g._replace(world=world) for g in reasons] for place, reasons in found.items()}


def _only(visit: Visit, members: Sequence[Recorded], one: Recorded) -> Visit:
    """Return the visit with ``one`` of the recordings that differ, without the others."""
    return replace(visit, readings=tuple(r for r in visit.readings if r is one or not _among(r, members)))


def _among(reading: Recorded, members: Iterable[Recorded]) -> bool:
    return any(reading is member for member in members)


def _add_certain(grounds: Grounds, worlds: Sequence[Grounds]) -> None:
    """Add what every world brings, at the weakest of their priorities."""
    for place in set.intersection(*map(set, worlds)):
        weakest = max((world[place] for world in worlds), key=_rank)
        if place not in grounds or _rank(grounds[place]) > _rank(weakest):
            known = {ground.number for ground in grounds.get(place, ())}
            grounds.setdefault(place, []).extend(g for g in weakest if g.number not in known)


def _doubts(grounds: Grounds, worlds: Sequence[Grounds], least: int, readings: tuple[Recorded, ...]) -> Iterator[Doubt]:
    """Yield what some world brings at rank ``least`` or more pressing, and the reasons so far do not."""
    for world in worlds:
        for place, reasons in world.items():
            if place[0] in ("reassure", "guide"):
                continue
            pressing = min(reasons, key=lambda ground: ground.order)
            held = _rank(grounds[place]) if place in grounds else len(PRIORITIES)
            if pressing.rank <= least and pressing.rank < held:
                yield Doubt(pressing, readings)


def _add_pending(grounds: Grounds, context: Context, readers: Sequence[Reader]) -> None:
    """Add, as provisional, what later values that are not settled would bring as `stat` or `asap`."""
    waiting = [reading for values in context.readings.awaiting_final() for reading in values]
    if not waiting:
        return
    places = {(r.finding, r.side) for r in waiting if not context.pack.findings[r.finding].readings}
    readings = context.visit.readings
    others = [r for r in readings if (r.finding, r.side) not in places and not _among(r, waiting)]
    counted = [replace(r, status="final", reported=False) for r in waiting]
    world = _world(context, replace(context.visit, readings=(*others, *counted)), readers)
    unless = tuple(dict.fromkeys(f"the final value of {_label(r, context)} says otherwise" for r in waiting))
    for place, reasons in world.items():
        if place[0] in ("reassure", "guide"):
            continue
        pressing = [g._replace(status=Status.PROVISIONAL, unless=unless) for g in reasons if g.rank <= ASAP]
        _add_provisional(grounds, place, pressing)


def _add_standing(grounds: Grounds, context: Context, readers: Sequence[Reader]) -> None:
    """Add, as provisional, what was abnormal at another visit and nobody looked at again."""
    stand = [r for r in context.readings.not_looked_at_again() if not context.visit.judged_since(r)]
    if not stand:
        return
    others = [r for r in context.visit.readings if not _among(r, stand)]
    seen = [replace(r, here=True) for r in stand]
    world = _world(context, replace(context.visit, readings=(*others, *seen)), readers)
    for place, reasons in world.items():
        if place[0] == "reassure":
            continue
        added = []
        for ground in reasons:
            behind = [r for r in stand if r.finding in _tested(ground, context)]
            if behind and not _done_since(place, max(r.time.lo for r in behind), context.visit):
                days = " and ".join(dict.fromkeys(r.time.text[:10] for r in behind))
                added.append(ground._replace(status=Status.PROVISIONAL, since=f"not looked at again since {days}"))
        _add_provisional(grounds, place, added)


def _add_provisional(grounds: Grounds, place: Place, reasons: Sequence[Ground]) -> None:
    known = {ground.number for ground in grounds.get(place, ())}
    fresh = [ground for ground in reasons if ground.number not in known]
    if fresh and (place not in grounds or _rank(grounds[place]) > _rank(fresh)):
        grounds.setdefault(place, []).extend(fresh)


def _tested(ground: Ground, context: Context) -> set[str]:
    """Return the findings that a rule tests, by way of conclusions too."""
    table, concluders = context.pack.table, context.plan.states.concluders
    rule = context.pack.program.rules[ground.number]
    found: set[str] = set()
    left = [rule]
    while left:
        one = left.pop()
        for var in {*variables(one.applies), *variables(one.when)}:
            name = table.entries[var].view.subject
            if name not in found:
                found.add(name)
                left += concluders.get(name, ())
    return found


def _done_since(place: Place, since: int, visit: Visit) -> bool:
    """Whether an order for the same target and side was completed after the finding was made."""
    _, target, side = place
    return any(
        o.status == "completed"
        and o.target == target
        and o.side in ("", side)
        and (o.time is None or o.time.hi >= since)
        for o in visit.orders
    )


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
