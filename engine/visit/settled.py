"""How settled a recording is: what is less settled clears nothing, but may alarm (danger law 12)."""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.visit.differing import inside
from layette.engine.visit.visit import Recorded

SETTLED = ("final", "amended", "corrected")
REVISING = ("amended", "corrected")


def unrevised(recordings: Sequence[Recorded]) -> list[Recorded]:
    """Return recordings without those that an amended or corrected one of the same thing and moment takes back."""
    revising = {(r.time, r.part) for r in recordings if r.status in REVISING}
    if not revising:
        return list(recordings)
    return [r for r in recordings if r.status in REVISING or (r.time, r.part) not in revising]


def most_settled(current: Sequence[Recorded]) -> list[Recorded]:
    """Return what counts: of this visit's values the examined before the reported, the settled before the rest."""
    kept = list(current)
    for better in (_examined, _settled):
        if any(r.here and r.possible is not None and better(r) for r in kept):
            kept = [r for r in kept if not r.here or r.possible is None or better(r)]
    return kept


def pending(used: Recorded | None, current: Sequence[Recorded]) -> tuple[Recorded, ...]:
    """Return the later, less settled values that say something else than the one in use."""
    if used is None or used.possible is None:
        return ()
    return tuple(
        r
        for r in current
        if r.possible is not None and r.time.lo > used.time.hi and not inside(r.possible, used.possible)
    )


def _examined(reading: Recorded) -> bool:
    return not reading.reported


def _settled(reading: Recorded) -> bool:
    return reading.status in SETTLED
