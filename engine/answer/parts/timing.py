"""When something is to be done at this visit: from a written window and its anchor to real times."""

from __future__ import annotations

from fractions import Fraction

from layette.engine.answer.laid.proposals import Proposal
from layette.engine.answer.laid.windows import RealWindow, WrittenWindow
from layette.engine.answer.parts.context import Context
from layette.engine.exact.times import Moment, later, plus, stamp
from layette.engine.states.facts import Facts
from layette.engine.terms import Priority

TERM_DAYS = 280
FIRST_HOUR = 3600
"""Seconds: what is asked for `stat` without a window is from now until one hour after."""


SPAN: dict[Priority, str | None] = {"stat": None, "asap": "24 h", "urgent": "7 d", "routine": None}
"""How long a priority lasts where no window is written, or where the written one is past or has no start."""


def window_for(proposal: Proposal, context: Context) -> RealWindow:
    """Return the window of one proposal at this visit; many rules write the same one, which is computed once."""
    found = context.windows.get(proposal.timing)
    if found is None:
        made = _first_to_end(proposal.windows, proposal.priority, proposal.side, context)
        found = context.windows[proposal.timing] = made
    return found


def _first_to_end(windows: tuple[WrittenWindow, ...], priority: Priority, side: str, context: Context) -> RealWindow:
    if not windows:
        return span_of_priority(priority, context)
    made = [_real(window, priority, side, context) for window in windows]
    if len(made) == 1:
        return made[0]
    return min(made, key=lambda w: (w.missing is not None, w.until is None, w.until or 0, w.start or 0))


def span_of_priority(priority: Priority, context: Context, missing: str | None = None) -> RealWindow:
    """Return the span that a priority itself stands for, from the visit on."""
    at, span = context.visit.at.lo, SPAN[priority]
    if priority == "stat":
        return RealWindow(at, at + FIRST_HOUR, "now", missing=missing)
    if span is None:
        return RealWindow(at, None, "no fixed time", missing=missing)
    return RealWindow(at, plus(at, span, context.visit.zone), f"within {span}", missing=missing)


def _real(written: WrittenWindow, priority: Priority, side: str, context: Context) -> RealWindow:
    text = written.text
    if written.after == "next_visit":
        return RealWindow(context.visit.at.lo, None, text)
    anchor = anchor_of(written.after, side, context.facts)
    if anchor is None:
        name = written.after.removesuffix(".time")
        span = span_of_priority(priority, context, missing=f"the time of {name} is not recorded")
        return RealWindow(
            span.start,
            span.until,
            f"{text} ({span.text} from now: the time of {name} is not recorded)",
            missing=span.missing,
        )
    zone, anchored = context.visit.zone, written.after != "visit"
    start = None if written.start is None else later(anchor.lo, written.start, zone)
    until = None if written.until is None else later(anchor.lo, written.until, zone)
    if written.after == "visit" and start is None:
        start = anchor.lo
    if until is not None and until < context.visit.at.lo:
        span = span_of_priority(priority, context)
        told = f"{text}: overdue since {stamp(until, zone)}"
        return RealWindow(span.start, span.until, told, overdue=True, due=until, anchored=anchored)
    return RealWindow(start, until, text, anchored=anchored)


def anchor_of(name: str, side: str, facts: Facts) -> Moment | None:
    """Return the moment that a window counts from, None where it is not known."""
    visit = facts.visit
    if name == "visit":
        return visit.at
    if name == "birth":
        return visit.born
    if name in ("discharge", "term"):
        return _bound_anchor(name, facts)
    finding = name.removesuffix(".time").removesuffix(".earlier")
    look = facts.readings.earlier if name.endswith(".earlier.time") else facts.readings.latest
    reading = look(finding, side if facts.pack.findings[finding].sides else "").valued
    return None if reading is None else reading.time


def _bound_anchor(name: str, facts: Facts) -> Moment | None:
    finding = facts.pack.shape.anchors.get(name)  # type: ignore[call-overload]
    value = facts.number(finding) if finding else None
    if value is None or value.span[0] is None or value.span[1] is None:
        return None
    unit = {"h": 3600, "d": 86400, "wk": 604800}.get(value.unit)
    if unit is None:
        return None
    low, high = value.span[0] * unit, value.span[1] * unit
    if name == "term":
        low, high = TERM_DAYS * 86400 - high, TERM_DAYS * 86400 - low
    born = facts.visit.born
    return Moment(born.lo + _whole(low), born.hi + _whole(high), name)


def _whole(value: Fraction) -> int:
    return int(value)
