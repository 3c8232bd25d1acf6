"""Lines that fit: wrapping, times for people, and colour that never carries the meaning alone."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_COLOURS = {"stat": "\x1b[1;31m", "asap": "\x1b[1;33m", "head": "\x1b[1m"}
_PLAIN = "\x1b[0m"


@dataclass
class Page:
    """A page of text under way. ``full``: nothing is cut; otherwise long lists end in "and N more".

    ``told`` are the reasons that stand on the page already, with the number of the item under which they stand.
    """

    width: int
    colour: bool
    full: bool
    lines: list[str] = field(default_factory=list)
    told: dict[str, str] = field(default_factory=dict)

    def heading(self, text: str, tone: str = "head") -> None:
        """Add a heading, with an empty line before it."""
        if self.lines:
            self.lines.append("")
        for line in _wrapped(text, self.width, "", ""):
            self.lines.append(f"{_COLOURS[tone]}{line}{_PLAIN}" if self.colour else line)

    def put(self, text: str, first: str = "  ", rest: str | None = None) -> None:
        """Add a paragraph; ``first`` stands before its first line, ``rest`` before the others."""
        hanging = " " * len(first) if rest is None else rest
        self.lines += _wrapped(text, self.width, first, hanging)

    def several(self, items: Sequence[str], limit: int, first: str = "  - ") -> None:
        """Add items, one paragraph each, up to a limit."""
        for item in shown(items, limit, full=self.full):
            self.put(item, first)

    def text(self) -> str:
        """Return the page, with a line feed at its end."""
        return "\n".join(self.lines) + "\n"


def shown(items: Sequence[str], limit: int, *, full: bool) -> Iterator[str]:
    """Yield items up to a limit, then how many are left; a single one left is shown instead."""
    cut = len(items) if full or len(items) <= limit + 1 else limit
    yield from items[:cut]
    if cut < len(items):
        yield f"and {len(items) - cut} more (--all)"


def _wrapped(text: str, width: int, first: str, rest: str) -> list[str]:
    found = textwrap.wrap(tidy(text), width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False)
    return found or [first.rstrip()]


def tidy(text: str) -> str:
    """Return text on one line, with a mark for what a terminal would take as a command."""
    return "".join(mark if mark.isprintable() else "?" for mark in " ".join(text.split()))


def cut(text: str, width: int) -> str:
    """Return text on one line of at most ``width`` columns; dots show that there is more."""
    line = tidy(text)
    return line if len(line) <= width else line[: width - 3].rstrip() + "..."


def sentence(parts: Iterable[str | None]) -> str:
    """Return the parts that are there, each ended by a full stop."""
    return " ".join(part if part.endswith((".", "!", "?")) else part + "." for part in parts if part)


@dataclass(frozen=True)
class Clock:
    """Tells times as the visit's own clock shows them."""

    at: datetime

    @classmethod
    def of(cls, at: str) -> Clock:
        """Return the clock of a visit at ``at`` (ISO 8601 with offset)."""
        return cls(datetime.fromisoformat(at))

    def tell(self, time: str, *, year: bool = False) -> str:
        """Return a time for people; year and offset are named where they are not the visit's, or on request."""
        when = datetime.fromisoformat(time)
        text = f"{_DAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]}"
        text += f" {when.year}" if year or when.year != self.at.year else ""
        if len(time) > len("2026-11-24"):
            text += f", {when:%H:%M}"
            text += f" ({offset(when)})" if when.utcoffset() != self.at.utcoffset() else ""
        return text

    def window(self, window: Any) -> str:
        """Return when something is to be done: real times, or the words of the window where it has none."""
        if window.overdue:
            return self._overdue(window)
        later = window.start and datetime.fromisoformat(window.start) > self.at
        if later and window.until:
            return f"from {self.tell(window.start)} to {self.tell(window.until)}"
        if window.until and datetime.fromisoformat(window.until) <= self.at:
            return "now"
        if window.until:
            return f"by {self.tell(window.until)}"
        return f"from {self.tell(window.start)}" if later else str(window.text)

    def _overdue(self, window: Any) -> str:
        """A window that is past keeps its end, or has a new one counted from the visit."""
        if window.until and datetime.fromisoformat(window.until) > self.at:
            return f"OVERDUE, by {self.tell(window.until)}"
        return "OVERDUE, act now" + (f" (was due by {self.tell(window.until)})" if window.until else "")


def offset(when: datetime) -> str:
    """Return ``UTC-06:00``."""
    text = when.isoformat()[-6:]
    return f"UTC{text}" if text[0] in "+-" else "UTC"
