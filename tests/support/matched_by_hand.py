"""What became of each thing that was due, worked out newborn by newborn from the visits themselves, without SQL."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

from layette.engine.api import Pack
from layette.engine.pack.written.shapes import listed
from layette.engine.visit.visit import PlacedOrder, Visit

Row = Mapping[str, Any]
MATCHED = ("refer", "order", "recheck", "guide")
PLACED = ("active", "on-hold", "completed")


class Act(NamedTuple):
    """What was done or declined: its UTC seconds, and the reference of its resource."""

    time: int
    status: str
    reference: str | None


class Newborn:
    """The visits of one newborn, by number."""

    def __init__(self, visits: Mapping[int, Visit], pack: Pack) -> None:
        self.visits, self.pack = visits, pack
        self.orders = [*_last_told(visits)]

    def outcome(self, row: Row, at: int, end: int) -> tuple[str | None, str | None]:
        """Return outcome and reference of the first act for one thing due at a visit that began ``at``.

        ``row``: of the table `due`, with seconds. ``end``: of the record.
        """
        if row["kind"] not in MATCHED:
            return None, None
        done, declined = self._acts(row, at)
        act, refusal = (min(some, key=lambda one: one.time, default=None) for some in (done, declined))
        until = row["window_until"]
        first = act or refusal
        return _outcome(row, act, refusal, until, end), first.reference if first else None

    def _acts(self, row: Row, at: int) -> tuple[list[Act], list[Act]]:
        placed = [o for o in self.orders if o.target == row["target"] and _side_fits(o.side, row) and _since(o, at)]
        declined = [_act(o) for o in placed if o.status == "revoked"]
        if row["kind"] == "guide":
            told = (g for v in self.visits.values() for g in v.guidance if g.name == row["target"] and g.time)
            return [Act(g.time.lo, "completed", g.reference or None) for g in told if g.time.hi >= at], declined
        also = {s for wanted in self.pack.targets[row["target"]].satisfied_by for s in listed(wanted.status)}
        done = [_act(o) for o in placed if o.status in {*PLACED, *also} - {"revoked"}]
        return [*done, *self._seen(row)], declined

    def _seen(self, row: Row) -> Iterator[Act]:
        """Yield looks at another visit that answer it: after this one, or, of what is not on record, at any time."""
        pack = self.pack
        wanted = {*pack.targets[row["target"]].recheck_of}
        wanted |= {d.name for r in pack.plan.due_rules if r.proposal.target == row["target"] for d in r.findings}
        here = self.visits[row["visit"]]
        for number, visit in self.visits.items():
            for one in visit.readings if number != row["visit"] else ():
                after = row["status"] == "not on record" or one.time.lo > max(here.at.hi, here.until.hi)
                if one.finding in wanted and one.possible is not None and _side_fits(one.side, row) and after:
                    yield Act(one.time.lo, "seen", None)


def _outcome(row: Row, act: Act | None, refusal: Act | None, until: int | None, end: int) -> str | None:
    if act and (until is None or act.time <= until):
        return "in time"
    if row["stood"]:
        return "stood already"
    if act or refusal:
        return "late" if act else "declined"
    if row["status"] == "not on record":
        return None
    return "missed" if until is not None and until < end else "not yet"


def _last_told(visits: Mapping[int, Visit]) -> Iterable[PlacedOrder]:
    """Return each order as the last visit that tells of it does; a draft is none."""
    told: dict[Any, PlacedOrder] = {}
    for number in sorted(visits):
        seen = set()
        for one in sorted(visits[number].orders, key=lambda one: one.status):
            alone = None if one.time is None else one.time.lo
            name = (one.reference or (alone, one.status), one.target, one.side)
            if one.status != "draft" and one.target and name not in seen:
                told[name] = one
                seen.add(name)
    return told.values()


def _side_fits(side: str | None, row: Row) -> bool:
    return not side or not row["side"] or side == row["side"]


def _since(one: PlacedOrder, at: int) -> bool:
    return one.time is not None and one.time.hi >= at


def _act(one: PlacedOrder) -> Act:
    assert one.time is not None
    return Act(one.time.lo, one.status, one.reference or None)


def newborns(visits: Sequence[Visit], pack: Pack) -> dict[int, Newborn]:
    """Return of each visit, by number, its newborn: the one that the record names, else of that visit alone."""
    of: dict[Any, dict[int, Visit]] = defaultdict(dict)
    for number, visit in enumerate(visits):
        named = visit.patient or next((f"{system}|{value}" for system, value in visit.identifiers), None)
        of[named or number][number] = visit
    return {number: made for some in of.values() for made in [Newborn(some, pack)] for number in some}
