"""Recordings of which it is not sure whether, or how, they count: each of them might hide what another would bring."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.exact.times import DAY
from layette.engine.pack.written.shapes import FindingShape
from layette.engine.terms import WITHDRAWN
from layette.engine.visit.recordings import Readings
from layette.engine.visit.settled import SETTLED
from layette.engine.visit.visit import Recorded


def not_final(readings: Readings) -> Iterator[tuple[Recorded, ...]]:
    """Yield the results that count as the latest though they are not final, while an earlier one is.

    Results count per sample, so a later sample takes the place of an earlier one; but what is not final clears nothing.
    """
    for place, listed in readings.by_place.items():
        shape = readings.findings[place[0]]
        if len(listed) == 1 or not shape.carries_over or shape.readings:
            continue
        used = readings.latest(*place).valued
        valued = [r for r in readings.all(*place) if r.possible is not None]
        unsettled = tuple(r for r in valued if r.status not in SETTLED)
        if used is not None and used.status not in SETTLED and len(unsettled) < len(valued):
            yield unsettled


def beyond_count(readings: Readings) -> Iterator[tuple[Recorded, ...]]:
    """Yield the attempts at a screen that come after as many as count."""
    for name in dict.fromkeys(name for name, _ in readings.by_place):
        screen = readings.findings[name].readings
        for parts in readings.attempts(name)[screen.at_most :] if screen else ():
            yield tuple(parts.values())


def perhaps_of_the_last_day(readings: Readings) -> Iterator[Recorded]:
    """Yield what was told of a time, not exactly known, that may lie in the 24 hours before this visit."""
    start = readings.visit.at.lo - DAY
    for r in readings.visit.readings:
        if r.here and r.time.lo < start <= r.time.hi and r.possible is not None and r.status not in WITHDRAWN:
            yield r


def measured_within_a_day(readings: Readings) -> Iterator[Recorded]:
    """Yield numbers that another visit measured in the 24 hours before this one, which nobody measured at this one.

    Of named values the pack says which stand or are events; a number is over only when somebody measured again.
    """
    start = readings.visit.at.lo - DAY
    for finding, side in readings.by_place if readings.has_earlier else ():
        shape = readings.findings[finding]
        if is_measured_anew(shape) and not any(r.here and r.possible is not None for r in readings.all(finding, side)):
            last = readings.earlier(finding, side).valued
            if last is not None and last.time.hi >= start:
                yield last


def is_measured_anew(shape: FindingShape) -> bool:
    """Whether a finding is a number that counts only for the visit at which it was measured."""
    return shape.number is not None and not shape.carries_over and shape.readings is None
