"""Windows in columns: when things are to be done at many visits, as `timing.window_for` says of one.

Times are UTC seconds. An end that is open is `FAR`, a start that is open `OPEN`; so is a moment that is not known.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timezone, tzinfo
from itertools import compress
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from layette.engine.answer.laid.windows import WrittenWindow
from layette.engine.answer.parts.timing import FIRST_HOUR, SPAN
from layette.engine.answer.resolved.grounds import FAR
from layette.engine.exact.times import DAY, Duration, amount_of, plus_months
from layette.engine.terms import Priority

OPEN = -FAR
"""A start that is open; a moment that is not known."""
KNOWN = -1
"""In place of an anchor that is not known: it is."""
_ANY = datetime(2000, 1, 1)
"""A zone of a fixed offset has it at any time."""

Numbers = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Span(NamedTuple):
    """Windows, one a visit, in the columns of `RealWindow`; ``missing`` is the number of the anchor, or `KNOWN`."""

    start: Numbers
    until: Numbers
    due: Numbers
    missing: Numbers
    overdue: Flags
    anchored: Flags

    def at(self, places: NDArray[np.int64] | Flags) -> Span:
        """Return some of the windows."""
        columns: Sequence[Any] = self
        return Span(*(column[places] for column in columns))


class Counted(NamedTuple):
    """A written window with the number of the anchor that it counts from."""

    written: WrittenWindow
    anchor: int


def spans(
    windows: Sequence[Counted], priority: Priority, at: Numbers, moments: Sequence[Numbers], zones: Sequence[tzinfo]
) -> Span:
    """Return the first to end of some windows at each visit; without any, the span of the priority.

    ``at``: when each visit was. ``moments``: for each anchor, the moment of it at each visit, or `OPEN`. ``zones``:
    those of the visits, in which months are counted.
    """
    if not windows:
        return _of_priority(priority, at)
    first, *others = (_real(one, priority, at, moments[one.anchor], zones) for one in windows)
    for other in others:
        sooner = _before(other, first)
        first = Span(*(np.where(sooner, b, a) for a, b in zip(first, other, strict=True)))
    return first


def _before(one: Span, other: Span) -> Flags:
    """Whether a window ends before another, or begins before it; one whose anchor is not known comes last."""
    a, b = ((s.missing != KNOWN, s.until, np.where(s.start == OPEN, 0, s.start)) for s in (one, other))
    less, same = np.zeros(len(one.start), bool), np.ones(len(one.start), bool)
    for mine, others in zip(a, b, strict=True):
        less |= same & (mine < others)
        same &= mine == others
    return less


def _of_priority(priority: Priority, at: Numbers) -> Span:
    """Return the spans that a priority itself stands for, from the visit on."""
    text, never = SPAN[priority], np.zeros(len(at), bool)
    lasts = FIRST_HOUR if priority == "stat" else None if text is None else amount_of(text)[1]
    until = np.full(len(at), FAR) if lasts is None else at + lasts
    return Span(at, until, np.full(len(at), FAR), np.full(len(at), KNOWN), never, never)


def _real(one: Counted, priority: Priority, at: Numbers, moments: Numbers, zones: Sequence[tzinfo]) -> Span:
    written, never = one.written, np.zeros(len(at), bool)
    span = _of_priority(priority, at)
    if written.after == "next_visit":
        return span._replace(until=np.full(len(at), FAR))
    known, of_visit = moments != OPEN, written.after == "visit"
    start = np.where(known, _later(moments, known, written.start, zones, at if of_visit else None), at)
    until = FAR if written.until is None else _later(moments, known, written.until, zones, None)
    until = np.where(known, until, span.until)
    overdue = known & (until < at)
    return Span(
        np.where(overdue, span.start, start),
        np.where(overdue, span.until, until),
        np.where(overdue, until, FAR),
        np.where(known, KNOWN, one.anchor),
        overdue,
        never if of_visit else known,
    )


def _later(
    moments: Numbers, known: Flags, amount: Duration | None, zones: Sequence[tzinfo], without: Numbers | None
) -> Numbers:
    """Return moments some time later; without an amount ``without``, or open."""
    if amount is None:
        return np.full(len(moments), OPEN) if without is None else without
    months, elapsed = amount
    if not months:
        return moments + elapsed
    made = moments.copy()
    fixed = np.array([type(zone) is timezone for zone in zones], bool)
    plain = known & fixed
    offsets = [int(zone.utcoffset(_ANY).total_seconds()) for zone in compress(zones, plain)]  # type: ignore[union-attr]
    made[plain] = months_later(moments[plain], months, np.array(offsets, np.int64))
    for k in np.flatnonzero(known & ~fixed).tolist():
        made[k] = plus_months(int(moments[k]), months, zones[k])
    return made


def months_later(seconds: Numbers, months: int, offsets: Numbers) -> Numbers:
    """Return the same clock time some calendar months later, as `times.plus_months`, in zones of fixed offsets."""
    local = seconds + offsets
    day = (local // DAY).astype("datetime64[D]")
    month = day.astype("datetime64[M]")
    there, after = ((month + more).astype("datetime64[D]") for more in (months, months + 1))
    last = (after - there).astype(np.int64) - 1
    of_month = np.minimum((day - month.astype("datetime64[D]")).astype(np.int64), last)
    made: Numbers = (there.astype(np.int64) + of_month) * DAY + local % DAY - offsets
    return made
