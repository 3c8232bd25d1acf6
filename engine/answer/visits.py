"""Come back: what falls due later, joined into the fewest visits whose windows meet.

Intervals are stabbed from the earliest end: the visit at that end takes every item that may be done by then. That is
the fewest visits there can be, and each keeps the whole span that its items share.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from layette.engine.answer.parts.assessment import ComeBack, ComeBackItem
from layette.engine.answer.parts.context import Context
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Due, Recommendation
from layette.engine.exact.times import DAY

OPEN = 1 << 62


_come_back, _item = known(ComeBack), known(ComeBackItem)


class Span(NamedTuple):
    """When something may be done, in UTC seconds, both ends included; ``OPEN`` where there is no end."""

    start: int
    until: int
    item: ComeBackItem


def fewest_visits(spans: Iterable[Span]) -> list[tuple[int, int, list[Span]]]:
    """Return (start, until, items) of the fewest visits that serve every span."""
    visits: list[tuple[int, int, list[Span]]] = []
    left = sorted(spans, key=lambda span: (span.until, span.start, span.item.label, span.item.side or ""))
    while left:
        end = left[0].until
        taken = [span for span in left if span.start <= end]
        left = [span for span in left if span.start > end]
        visits.append((max(span.start for span in taken), min(span.until for span in taken), taken))
    return visits


def come_back(made: Sequence[Recommendation], later: Sequence[Due], context: Context) -> tuple[ComeBack, ...]:
    """Return the visits to come: rechecks beyond today, and what is wanted at a later age."""
    spans = [span for one in made if one.kind == "recheck" and (span := _of_recheck(one, context))]
    spans += [_of_due(due, context) for due in later if due.state == "later"]
    return tuple(
        _come_back(
            start=context.stamp(start),
            until=None if until == OPEN else context.stamp(until),
            items=tuple(span.item for span in taken),
        )
        for start, until, taken in fewest_visits(spans)
    )


def _of_recheck(made: Recommendation, context: Context) -> Span | None:
    at = context.visit.at.lo
    start = at if made.window.start is None else max(at, context.second(made.window.start))
    until = OPEN if made.window.until is None else context.second(made.window.until)
    if until <= at + DAY:  # that is no visit to come back for: it is done now, or within 24 hours
        return None
    return Span(start, max(start, until), _item(label=made.label, side=made.side, target=made.target))


def _of_due(due: Due, context: Context) -> Span:
    at = context.visit.at.lo
    start = at if due.window.start is None else max(at, context.second(due.window.start))
    until = OPEN if due.window.until is None else max(start, context.second(due.window.until))
    return Span(start, until, _item(label=due.label, side=None, target=None))
