"""`layette assess … --to ndjson`: many visits in, an answer a line out, and what was set aside in a file of its own."""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

from layette.engine.api import load_pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.cli import output
from layette.mapping.cores import cores
from layette.mapping.many import Item, Outcome, answers, items
from layette.mapping.many.workers import Asked
from layette.mapping.text import tidy

_TOLD = 20
_BAR = 24
_EVERY = 0.2
"""Seconds between two pictures of the bar."""


@dataclass
class Totals:
    """What became of the items so far; ``urgent`` lines are emergencies in what was set aside."""

    answered: int = 0
    refused: int = 0
    skipped: int = 0
    done: float | None = None
    urgent: list[str] = field(default_factory=list)
    began: float = field(default_factory=time.monotonic)

    @property
    def read(self) -> int:
        """All items."""
        return self.answered + self.refused + self.skipped

    def counted(self, found: Iterator[Item]) -> Iterator[Item]:
        """Pass the items on, counting those that are no visits."""
        for item in found:
            self.skipped += bool(item.skipped)
            yield item

    def add(self, outcome: Outcome) -> None:
        """Count one outcome."""
        self.answered += not outcome.refused
        self.refused += outcome.refused
        self.done = outcome.item.done
        place = f"{outcome.item.source}{f', line {outcome.item.line}' if outcome.item.line else ''}"
        self.urgent += [f"URGENT, {place}: {line}" for line in outcome.urgent]

    def __str__(self) -> str:
        """Say the totals, which add up."""
        nothing = f", {self.skipped} empty or of another kind" if self.skipped else ""
        return f"{self.read} read: {self.answered} answered, {self.refused} set aside{nothing}"


def run(arguments: argparse.Namespace, readers: tuple[str, ...] | None) -> int:
    """Answer every item; returns 2 where one was set aside."""
    _check(arguments)
    pack = load_pack(arguments.pack, arguments.site)
    try:
        pack.readers(readers)
    except ValueError as error:
        raise InputError([InputProblem("--readers", "setting", str(error))]) from None
    totals, asked = Totals(), Asked(arguments.at, readers, arguments.all)
    source = (arguments.pack, arguments.site)
    found = answers(totals.counted(items(arguments.input)), pack, asked, arguments.workers, source)
    aside = _aside(arguments)
    with _lines(arguments.out) as good, _lines(aside) as bad, _bar() as bar:
        for outcome in found:
            (bad if outcome.refused else good).write(outcome.text + "\n")
            totals.add(outcome)
            bar.show(totals)
    _tell(totals, aside)
    return 2 if totals.refused else 0


def _tell(totals: Totals, aside: str) -> None:
    print(f"layette: {totals}{f' in {aside}, each with its reasons' if totals.refused else ''}", file=sys.stderr)
    for line in totals.urgent[:_TOLD]:
        print(tidy(line), file=sys.stderr)
    if len(totals.urgent) > _TOLD:
        print(f"URGENT, and {len(totals.urgent) - _TOLD} more in {aside}", file=sys.stderr)


def _aside(arguments: argparse.Namespace) -> str:
    """Return the file of what is set aside: as named, else beside the answers."""
    if arguments.rejected:
        return str(arguments.rejected)
    out = Path(arguments.out)
    return str(out.with_name(f"{out.stem}.rejected{out.suffix}"))


def _check(arguments: argparse.Namespace) -> None:
    alone = {"--subject": arguments.subject, "--encounter": arguments.encounter}
    problems = [
        InputProblem(name, "setting", "one newborn cannot be meant in many inputs", str(value), "the option left out")
        for name, value in alone.items()
        if value
    ]
    if arguments.out in (None, "-") and not arguments.rejected:
        message = "what is set aside needs a file when the answers go to stdout"
        problems.append(InputProblem("--rejected", "setting", message, "", "--rejected FILE, or --out FILE"))
    if arguments.workers is not None and arguments.workers < 1:
        message = "a number of processes from 1 on"
        problems.append(InputProblem("--workers", "setting", message, str(arguments.workers), f"such as {cores()}"))
    if problems:
        raise InputError(problems)


@contextlib.contextmanager
def _lines(name: str | None) -> Iterator[IO[str]]:
    """Open an output that is written line by line; stdout is written as the answers come."""
    if name in (None, "-"):
        yield sys.stdout
        sys.stdout.flush()
        return
    with output.whole(str(name), text=True) as stream:
        yield stream


class _Bar:
    """A bar on a terminal; elsewhere nothing."""

    def __init__(self) -> None:
        self.on = sys.stderr.isatty()
        self.last = 0.0

    def show(self, totals: Totals) -> None:
        """Draw the bar again, if it is time."""
        now = time.monotonic()
        if not self.on or now - self.last < _EVERY:
            return
        self.last = now
        full = "" if totals.done is None else f"[{'#' * round(totals.done * _BAR):.<{_BAR}}] {totals.done:4.0%}  "
        speed = totals.read / max(now - totals.began, 0.001)
        print(f"\r{full}{totals}, {speed:.0f} a second \x1b[K", end="", file=sys.stderr, flush=True)


@contextlib.contextmanager
def _bar() -> Iterator[_Bar]:
    bar = _Bar()
    try:
        yield bar
    finally:
        if bar.on:
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)
