"""What is not on record, and when to come back."""

from __future__ import annotations

from collections.abc import Iterable

from layette.engine.answer.parts.assessment import Assessment, ComeBack
from layette.engine.answer.shapes.proposed import Due
from layette.mapping.text import ticks
from layette.mapping.text.about import About
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import listed
from layette.mapping.text.layout import Page
from layette.mapping.text.reasons import marks

_COLUMN = len("Sat 30 May - Wed 3 Jun")
_LINES = 2
_ALL = 99
_VISITS = 4


def not_on_record(page: Page, assessment: Assessment, clock: Clock, about: About) -> None:
    """Write what the record says nothing of, all of it, by its deadline: look it up, else do it."""
    unread = [] if page.full else ticks.unread(assessment, about)
    if not (assessment.not_on_record or unread):
        return
    page.heading("NOT ON RECORD: look it up, else do it")
    by_deadline: dict[str, list[str]] = {}
    for due in sorted(assessment.not_on_record, key=lambda due: (due.state != "overdue", due.window.until or "~")):
        when, name = _deadline(due, clock)
        by_deadline.setdefault(when, []).append(about.due_name(due) + name)
    for when, names in by_deadline.items():
        page.row(when, listed(names), len("by Mon 30 Sep"), _ALL)
    if unread:
        page.row("to read, ask", unread, len("by Mon 30 Sep"), _ALL)


def _deadline(due: Due, clock: Clock) -> tuple[str, str]:
    """Return the deadline, and what stands behind a name: what is overdue stands together, each with its day."""
    until = due.window.until
    if due.state == "overdue":
        return "overdue", f" ({clock.day(until)})" if until else ""
    return (f"by {clock.day(until)}" if until else "no fixed time"), ""


def come_back(page: Page, assessment: Assessment, clock: Clock, about: About) -> None:
    """Write each visit to come: the days that suit all of it, and what happens there."""
    if not assessment.come_back:
        return
    page.heading("COME BACK")
    later = [due for due in assessment.due if due.state == "later"]
    by_names: dict[tuple[str, ...], list[str]] = {}
    for visit in assessment.come_back:
        names = listed(name for item in visit.items for name in about.visit_names(item, visit, later))
        by_names.setdefault(tuple(names), []).append(clock.span(visit.start, visit.until))
    rows = list(by_names.items())
    kept = rows if page.full or len(rows) <= _VISITS else rows[: _VISITS - 1]
    column = min(max((len("; ".join(spans)) for _, spans in kept), default=0), _COLUMN)
    for together, spans in kept:
        page.row("; ".join(spans), together, column, _LINES if page.talk else 1)
    if len(kept) < len(rows):
        page.put(f"and {len(rows) - len(kept)} more visits (--all)")


def next_visit(visit: ComeBack | None, clock: Clock) -> str | None:
    """Return when to come back next, as a sentence."""
    if visit is None:
        return None
    return f"Come back {clock.span(visit.start, visit.until).replace(' - ', ' to ')}"


def wanted(page: Page, items: Iterable[Due], clock: Clock, about: About) -> None:
    """Write all that is wanted by an age and not on record, with why, rule and source."""
    items = list(items)
    if not items:
        return
    page.heading("WANTED BY AGE, AND NOT ON RECORD")
    for due in items:
        act = about.due_name(due)
        names = ", ".join([due.rule, *(source.id for source in due.sources)])
        said = "said not to be done, " if due.said_not_done and due.state != "later" else ""
        what = due.label if act == due.label else f"{due.label}: {act}"
        page.put(f"{what} ({said}{due.state}), {clock.window(due.window)}. {due.because}", "  - ")
        page.put(f"({names}){marks(due.sources)}", "    ")
