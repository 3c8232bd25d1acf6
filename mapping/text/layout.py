"""Lines that fit: wrapping, rows with a name before them, and colour that never carries the meaning alone."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

_COLOURS = {"stat": "\x1b[1;31m", "asap": "\x1b[1;33m", "head": "\x1b[1m"}
_PLAIN = "\x1b[0m"
JOINT = " · "
_STRIP = len("NORMAL AT THIS AGE")
_HARD = "\u00a0"
_TOGETHER = re.compile(r"(\d) ((?:g|kg|lb|oz|mg/dL|µmol/L|%|°[CF]|cm|mm|h|[A-Z][a-z][a-z])\b|%)")
"""A number and its unit, a day and its month: what no end of a line may part."""


@dataclass
class Page:
    """A page of text under way. ``full``: nothing is cut; otherwise long lists end in "and N more".

    ``talk``: how many lines there are for each heading of what to tell the family; 0: one line for all of it.
    ``told`` are the reasons that stand on the page already, with the number of the item under which they stand;
    ``rules`` the rules behind the numbered items.
    """

    width: int
    colour: bool
    full: bool
    lines: list[str] = field(default_factory=list)
    talk: int = 2
    told: dict[str, int] = field(default_factory=dict)
    rules: dict[int, str] = field(default_factory=dict)

    def heading(self, text: str, tone: str = "head") -> None:
        """Add a heading, with an empty line before it."""
        self.gap()
        for line in wrapped(text, self.width, "", ""):
            self.lines.append(f"{_COLOURS[tone]}{line}{_PLAIN}" if self.colour else line)

    def gap(self) -> None:
        """Add an empty line, but not at the top."""
        if self.lines:
            self.lines.append("")

    def put(self, text: str, first: str = "  ", rest: str | None = None) -> None:
        """Add a paragraph; ``first`` stands before its first line, ``rest`` before the others."""
        hanging = " " * len(first) if rest is None else rest
        self.lines += wrapped(text, self.width, first, hanging)

    def row(self, name: str, items: Sequence[str], column: int, most: int) -> None:
        """Add items behind a name, in ``most`` lines unless the page is full."""
        indent = min(column, self.width // 3)
        first = f"  {tidy(name):<{indent}}  "
        if len(first) > self.width // 2:  # a name that leaves no room has a line of its own
            self.put(name)
            first = " " * (indent + 4)
        rest = " " * (indent + 4)
        for line in wrapped(self.fitted(items, most, first, rest), self.width, first, rest):
            self.lines.append(line)

    def strip(self, name: str, items: Sequence[str], most: int) -> None:
        """Add a short section of the lower page: its name and its items in one row, without a gap before it."""
        first = f"{name:<{_STRIP}}  "
        rest = " " * (len(first) if len(first) <= self.width // 2 else 2)
        lines = wrapped(self.fitted(items, most, first, rest), self.width, first, rest)
        self.lines += [f"{_COLOURS['head']}{name}{_PLAIN}{lines[0][len(name) :]}", *lines[1:]] if self.colour else lines

    def fitted(self, items: Sequence[str], most: int, first: str = "  ", rest: str = "  ") -> str:
        """Return items joined, as many as fit in ``most`` lines, then how many are left; all of them if full."""
        return _joined(items, self.kept(items, most, first, rest))

    def kept(self, items: Sequence[str], most: int, first: str = "  ", rest: str = "  ") -> int:
        """Return how many items fit in ``most`` lines, at least one; all of them if the page is full."""
        counts = range(len(items), 1, -1)
        fits = (k for k in counts if self.full or len(wrapped(_joined(items, k), self.width, first, rest)) <= most)
        return next(fits, min(1, len(items)))

    def several(self, items: Sequence[str], limit: int, first: str = "  - ") -> None:
        """Add items, one paragraph each, up to a limit."""
        for item in shown(items, limit, full=self.full):
            self.put(item, first)

    def section(self, heading: str, lines: Sequence[str]) -> None:
        """Add a heading with a paragraph each line; nothing where there are none."""
        if lines:
            self.heading(heading)
            self.several(lines, len(lines))

    def text(self) -> str:
        """Return the page, with a line feed at its end."""
        return "\n".join(self.lines) + "\n"


def _joined(items: Sequence[str], kept: int) -> str:
    left = len(items) - kept
    return JOINT.join([*items[:kept], *([f"and {left} more (--all)"] if left else [])])


def shown(items: Sequence[str], limit: int, *, full: bool) -> Iterator[str]:
    """Yield items up to a limit, then how many are left; a single one left is shown instead."""
    cut = len(items) if full or len(items) <= limit + 1 else limit
    yield from items[:cut]
    if cut < len(items):
        yield f"and {len(items) - cut} more (--all)"


def wrapped(text: str, width: int, first: str, rest: str) -> list[str]:
    """Return a paragraph as lines of at most ``width`` columns; only a word that is longer than a line is broken."""
    whole = tidy(text)
    if len(first) + len(whole) <= width:
        return [f"{first}{whole}".rstrip()]
    told = _TOGETHER.sub(rf"\1{_HARD}\2", whole)
    lines, begin, start = [], 0, first
    while len(told) - begin > (room := max(width - len(start), 1)):
        space = told.rfind(" ", begin, begin + room + 1)
        end = space if space > begin else begin + room
        lines.append(start + told[begin:end])
        begin, start = end + (space > begin), rest
    lines.append(start + told[begin:])
    return [line.replace(_HARD, " ").rstrip() for line in lines]


def tidy(text: str) -> str:
    """Return text on one line, with a mark for what a terminal would take as a command."""
    line = " ".join(text.split())
    return line if line.isprintable() else "".join(mark if mark.isprintable() else "?" for mark in line)


def cut(text: str, width: int) -> str:
    """Return text on one line of at most ``width`` columns; dots show that there is more."""
    line = tidy(text)
    return line if len(line) <= width else line[: width - 3].rstrip() + "..."


def sentence(parts: Iterable[str | None]) -> str:
    """Return the parts that are there, each ended by a full stop."""
    return " ".join(part if part.endswith((".", "!", "?")) else part + "." for part in parts if part)


def counted(number: int, one: str, many: str) -> str:
    """Return a number with its noun."""
    return f"{number} {one if number == 1 else many}"
