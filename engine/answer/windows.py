"""When something is to be done: from an anchor and two amounts to real times."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, NamedTuple

from layette.engine.answer.assessment import Window
from layette.engine.exact.times import Duration as Amount
from layette.engine.exact.times import Moment, amount_of, later, plus, stamp
from layette.engine.pack.written.rule_shapes import WindowShape
from layette.engine.terms import Priority

if TYPE_CHECKING:
    from layette.engine.answer.proposals import Proposal
    from layette.engine.states.facts import Facts

TERM_DAYS = 280
SPAN: dict[Priority, str | None] = {"stat": None, "asap": "24 h", "urgent": "7 d", "routine": None}
"""How long a priority lasts where no window is written, or where the written one is past or has no start."""


class Stated(NamedTuple):
    """A window as it is written, with its words."""

    after: str
    start: Amount | None
    until: Amount | None
    text: str


class Real(NamedTuple):
    """A window in UTC seconds; ``until`` is the early end where the anchor is uncertain. None: open.

    ``missing`` says which anchor is not known; such a window lasts from the visit on, and pulls no other window.
    """

    start: int | None
    until: int | None
    text: str
    overdue: bool = False
    missing: str | None = None

    def shown(self, facts: Facts) -> Window:
        """Return the window as it is published, in the offset of the visit."""
        zone = facts.visit.zone
        return Window(
            start=None if self.start is None else stamp(self.start, zone),
            until=None if self.until is None else stamp(self.until, zone),
            text=self.text,
            overdue=self.overdue,
            missing=self.missing,
        )


def window_for(proposal: Proposal, facts: Facts) -> Real:
    """Return the window of one proposal at this visit; many rules write the same one, which is computed once."""
    found = facts.windows.get(proposal.timing)
    if found is None:
        made = _first_to_end(proposal.windows, proposal.priority, proposal.side, facts)
        found = facts.windows[proposal.timing] = made
    return found


def _first_to_end(windows: tuple[Stated, ...], priority: Priority, side: str, facts: Facts) -> Real:
    if not windows:
        return span_of_priority(priority, facts)
    made = [_real(window, priority, side, facts) for window in windows]
    if len(made) == 1:
        return made[0]
    return min(made, key=lambda w: (w.missing is not None, w.until is None, w.until or 0, w.start or 0))


def span_of_priority(priority: Priority, facts: Facts, missing: str | None = None) -> Real:
    """Return the span that a priority itself stands for, from the visit on."""
    at, span = facts.visit.at.lo, SPAN[priority]
    if priority == "stat":
        return Real(at, at, "now", missing=missing)
    if span is None:
        return Real(at, None, "no fixed time", missing=missing)
    return Real(at, plus(at, span, facts.visit.zone), f"within {span}", missing=missing)


def _real(written: Stated, priority: Priority, side: str, facts: Facts) -> Real:
    text = written.text
    if written.after == "next_visit":
        return Real(facts.visit.at.lo, None, text)
    anchor = anchor_of(written.after, side, facts)
    if anchor is None:
        name = written.after.removesuffix(".time")
        span = span_of_priority(priority, facts, missing=f"the time of {name} is not recorded")
        return Real(
            span.start,
            span.until,
            f"{text} ({span.text} from now: the time of {name} is not recorded)",
            missing=span.missing,
        )
    zone = facts.visit.zone
    start = None if written.start is None else later(anchor.lo, written.start, zone)
    until = None if written.until is None else later(anchor.lo, written.until, zone)
    if written.after == "visit" and start is None:
        start = anchor.lo
    if until is not None and until < facts.visit.at.lo:
        span = span_of_priority(priority, facts)
        return Real(span.start, span.until, f"{text}: overdue since {stamp(until, zone)}", overdue=True)
    return Real(start, until, text)


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


_AFTER = {"birth": "of age", "discharge": "after discharge", "term": "after the due date"}


def stated(written: WindowShape) -> Stated:
    """Return a written window with its words."""
    start, until = (None if text is None else amount_of(text) for text in (written.start, written.until))
    return Stated(written.after, start, until, _words(written))


def _words(written: WindowShape) -> str:
    after = _AFTER.get(written.after)
    if written.after == "next_visit":
        return "at the next visit"
    if written.after == "visit":
        amounts = [
            f"not before {written.start}" if written.start else "",
            f"within {written.until}" if written.until else "",
        ]
        return ", ".join(a for a in amounts if a)
    after = after or f"after {written.after.removesuffix('.time').replace('_', ' ')}"
    if written.start and written.until:
        return f"between {written.start} and {written.until} {after}"
    return f"by {written.until} {after}" if written.until else f"from {written.start} {after}"
