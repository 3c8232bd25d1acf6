"""What to do by when: recommendations grouped by deadline, never by priority alone.

`now` · before they leave · within 24 hours · within 48 hours · within a week · by a date. What presses begins now,
whatever its end; what the examiner does is done before they leave; what is past keeps its true end, and the span of its
priority chooses the group.
"""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.answer.parts.assessment import DoGroup
from layette.engine.answer.parts.context import Context
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.exact.times import DAY
from layette.engine.terms import DEADLINES, Deadline, Priority

HERE = "examiner"
"""The performer of what is done at this visit, by who examines."""
BEFORE_THEY_LEAVE = 7200
"""Seconds: what is due within two hours is done before they leave."""

_PAST: dict[Priority, Deadline] = {
    "stat": "now", "asap": "within 24 hours", "urgent": "within a week", "routine": "by a date",
}  # fmt: skip
_NEVER_ORDERED: dict[Priority, Deadline] = {
    "stat": "now", "asap": "now", "urgent": "before they leave", "routine": "before they leave",
}  # fmt: skip
"""When what was proposed and never ordered is ordered: while they are here, whatever its span."""
_ENDS: tuple[tuple[Deadline, int], ...] = (
    ("before they leave", BEFORE_THEY_LEAVE),
    ("within 24 hours", DAY),
    ("within 48 hours", 2 * DAY),
    ("within a week", 7 * DAY),
)


_group = known(DoGroup)


def deadline_of(made: Recommendation, context: Context) -> Deadline:
    """Return the group in which a recommendation stands."""
    visit = context.visit
    if made.priority == "stat":
        return "now"
    if made.window.overdue:
        return (_NEVER_ORDERED if made.window.proposed else _PAST)[made.priority]
    if made.performer == HERE and (made.window.start is None or context.second(made.window.start) <= visit.at.lo):
        return "before they leave"
    if made.window.until is None:
        return "by a date"
    left = context.second(made.window.until) - visit.at.lo
    return next((deadline for deadline, span in _ENDS if left <= span), "by a date")


def grouped(made: Sequence[Recommendation], context: Context) -> tuple[DoGroup, ...]:
    """Return the recommendations by deadline, the most pressing first, each group in its order of urgency."""
    by_deadline: dict[Deadline, list[Recommendation]] = {}
    for one in made:
        by_deadline.setdefault(deadline_of(one, context), []).append(one)
    spans = dict(_ENDS)
    return tuple(
        _group(
            deadline=deadline,
            until=context.stamp(context.visit.at.lo + spans[deadline]) if deadline in spans else None,
            items=tuple(by_deadline[deadline]),
        )
        for deadline in DEADLINES
        if deadline in by_deadline
    )
