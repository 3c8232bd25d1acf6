"""When something is to be done: from an anchor and two amounts to real times."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Window
from layette.engine.exact.times import Duration, amount_of
from layette.engine.pack.written.rule_shapes import WindowShape

_window = known(Window)


class WrittenWindow(NamedTuple):
    """A window as it is written, with its words."""

    after: str
    start: Duration | None
    until: Duration | None
    text: str


class RealWindow(NamedTuple):
    """A window in UTC seconds; ``until`` is the early end where the anchor is uncertain. None: open.

    ``missing`` says which anchor is not known; such a window lasts from the visit on, and pulls no other window. One
    that is past lasts for the span of its priority; ``due`` is its true end. ``anchored``: not counted from the visit.
    """

    start: int | None
    until: int | None
    text: str
    overdue: bool = False
    missing: str | None = None
    due: int | None = None
    anchored: bool = False

    def shown(self, stamp: Callable[[int], str]) -> Window:
        """Return the window as it is published; ``stamp`` prints a second in the offset of the visit."""
        end = self.due if self.overdue and self.due is not None else self.until
        return _window(
            start=None if self.start is None else stamp(self.start),
            until=None if end is None else stamp(end),
            text=self.text,
            overdue=self.overdue,
            missing=self.missing,
        )


_AFTER = {"birth": "of age", "discharge": "after discharge", "term": "after the due date"}


def stated(written: WindowShape) -> WrittenWindow:
    """Return a written window with its words."""
    start, until = (None if text is None else amount_of(text) for text in (written.start, written.until))
    return WrittenWindow(written.after, start, until, _words(written))


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
