"""Whether priority and deadline agree: `stat` begins now, and each priority has the span in which it may end.

A window counted from the visit is known at load. One counted from an anchor is not: the time left lifts its priority
at run time, so it is refused only where it contradicts at every moment.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layette.engine.errors import PackProblem
from layette.engine.exact.times import DAY
from layette.engine.pack.written.rule_shapes import Consequence, WindowShape, rough, windows_of
from layette.engine.pack.written.written import Written
from layette.engine.pack.written.yaml_nodes import Path
from layette.engine.terms import Priority

LATEST: dict[Priority, int] = {"stat": DAY, "asap": DAY, "urgent": 14 * DAY}
"""Seconds: within which a priority ends. `routine` has no latest end, and never one within a day."""
_SAID: dict[Priority, str] = {
    "stat": "'stat' begins now and ends within 24 h",
    "asap": "'asap' ends within 24 h",
    "urgent": "'urgent' ends within 14 d",
    "routine": "'routine' never ends within 24 h",
}


def check_deadline(rule: Written, consequence: Consequence, path: Path) -> Iterator[PackProblem]:
    """Yield what contradicts between the priority of one consequence, which stands at ``path``, and its window."""
    if consequence.priority is None or consequence.verb in (None, "avoid"):
        return
    written = windows_of(rule.shape.window if rule.shape.due is not None else consequence.window)
    windows = [window for window in written if window.start or window.until]
    if consequence.within and rule.shape.due is None:
        windows = [WindowShape(until=consequence.within)]
    wrong = contradiction(consequence.priority, windows)
    if wrong:
        yield rule.document.problem((*path, "priority"), "priority-window", wrong)


def contradiction(priority: Priority, windows: Sequence[WindowShape]) -> str | None:
    """Say why a priority and a window contradict, and what would be right; None where they agree.

    Args:
        priority: how pressing it is.
        windows: single windows, of which the one that ends first counts; empty where the priority's own span holds.
    """
    if priority == "routine":
        soon = [window for window in windows if _ends_within_a_day(window)]
        return _told(priority, soon[0]) if soon else None
    if not windows or any(_may_agree(priority, window) for window in windows):
        return None
    return _told(priority, windows[0])


def _ends_within_a_day(window: WindowShape) -> bool:
    return window.after == "visit" and window.until is not None and rough(window.until) <= DAY


def _may_agree(priority: Priority, window: WindowShape) -> bool:
    """Whether there is a moment at which a window agrees with a pressing priority."""
    if window.after == "next_visit":
        return priority == "urgent"
    if window.until is None:
        return False
    if window.after != "visit":
        return True
    begins_now = window.start is None or rough(window.start) <= 0
    return rough(window.until) <= LATEST[priority] and (begins_now or priority != "stat")


def _told(priority: Priority, window: WindowShape) -> str:
    if window.after == "next_visit":
        return f"{_SAID[priority]}; the next visit is later: write 'urgent' or 'routine'"
    if window.until is None:
        return f"{_SAID[priority]}; this window has no end: give 'until'"
    end = rough(window.until)
    if priority == "stat" and end <= DAY:
        return f"{_SAID[priority]}; this window begins after {window.start}: leave 'from' out, or write 'asap'"
    fits = "asap" if end <= DAY else "urgent" if end <= LATEST["urgent"] else "routine"
    return f"{_SAID[priority]}; this window ends after {window.until}: write '{fits}', or another end"
