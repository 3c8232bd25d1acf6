"""Which of many numbers of one moment are decided: where all between two decide alike, the two stand for them.

A world costs a whole decision, and a visit may hold thousands of numbers of one moment. The range from one number to
another is decided as if the value were known no better. If it leaves each variable what it is at both ends, each number
within leaves it so too: a wider input never gives a narrower answer, and a measure follows its number up or down.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Protocol, TypeVar

from layette.engine.answer.parts.context import Context
from layette.engine.answer.resolved.doubtful import Change, Doubtful
from layette.engine.exact.ranges import Range
from layette.engine.visit.visit import Recorded

FEW = 8
"""As many are each decided."""


class Decided(Protocol):
    """What a world is asked for here."""

    @property
    def context(self) -> Context:
        """What is decided there."""


World = TypeVar("World", bound=Decided)
Decide = Callable[[Change], World]


def each_that_differs(one: Doubtful, decide: Decide[World]) -> Iterator[World]:
    """Yield the worlds of ``one``; of numbers that decide alike the lowest and the highest."""
    if len(one.ways) <= FEW:
        yield from map(decide, one.ways)
        return
    rows: dict[Hashable, list[Change]] = {}
    for way in one.ways:
        rows.setdefault(_row(way), []).append(way)
    for ways in rows.values():
        ways.sort(key=lambda way: _number(way) or 0)
        worlds = {k: decide(ways[k]) for k in {0, len(ways) - 1}}
        yield from worlds.values()
        yield from _between(ways, 0, len(ways) - 1, worlds, decide)


def _between(
    ways: Sequence[Change], low: int, high: int, worlds: dict[int, World], decide: Decide[World]
) -> Iterator[World]:
    if high - low < 2 or _all_alike(ways, low, high, worlds, decide):
        return
    middle = (low + high) // 2
    worlds[middle] = decide(ways[middle])
    yield worlds[middle]
    yield from _between(ways, low, middle, worlds, decide)
    yield from _between(ways, middle, high, worlds, decide)


def _all_alike(ways: Sequence[Change], low: int, high: int, worlds: dict[int, World], decide: Decide[World]) -> bool:
    states = worlds[low].context.states
    if states != worlds[high].context.states:
        return False
    first, last = ways[low], ways[high]
    assert first.counts is not None
    span = Range(_number(first), _number(last))
    either = replace(first, counts=None, put_in=(first.counts._replace(possible=span),))
    return decide(either).context.states == states


def _row(way: Change) -> Hashable:
    """Return what numbers share that differ in nothing else; what is no number stands by itself."""
    if _number(way) is None or way.counts is None:
        return id(way)
    return _without_number(way.counts)


def _without_number(reading: Recorded) -> Hashable:
    return reading._replace(possible=None).said


def _number(way: Change) -> Fraction | None:
    possible = way.counts.possible if way.counts is not None else None
    return possible.lo if isinstance(possible, Range) and possible.exact else None
