"""Results that somebody has to order, and the rules that are about them, laid out once a pack."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

from layette.engine.logic.conditions import AllOf, State, variables
from layette.engine.logic.native import flag_of
from layette.engine.logic.program import CompiledRule
from layette.engine.pack.written.shapes import CodeValue, FindingShape, listed
from layette.engine.states.plan import StatesPlan
from layette.engine.visit.recordings import Where

Flag = Callable[[Sequence[State]], int]
"""From states to 1 (it holds), 0 (it does not) or -1 (it may)."""


class Awaited(NamedTuple):
    """A finding that somebody has to order: its sides as places, its codes by system."""

    places: tuple[Where, ...]
    codes: frozenset[tuple[str, str]]


class IfOrdered(NamedTuple):
    """A rule about a result that somebody has to order: its own condition, and the conclusions that it tests."""

    holds: Flag
    conclusions: tuple[tuple[int, Flag], ...]


def awaited(name: str, shape: FindingShape) -> Awaited:
    """Lay out a finding that somebody has to order."""
    return Awaited(tuple((name, side) for side in shape.sides or ("",)), frozenset(each_code(shape.codes)))


def if_ordered(rule: CompiledRule, plan: StatesPlan) -> IfOrdered:
    """Lay out a rule about a result that somebody has to order."""
    own, flags, entries = AllOf((rule.applies, rule.when)), plan.conclusion_flags, plan.pack.table.entries
    concluded = [(var, flags[name]) for var in variables(own) if (name := entries[var].view.subject) in flags]
    return IfOrdered(flag_of([own], plan.pack.program.full), tuple(concluded))


def each_code(written: Mapping[str, CodeValue]) -> Iterator[tuple[str, str]]:
    """Yield codes, as a pack writes them by system, each with the short name of its system."""
    return ((system, code) for system, codes in written.items() for code in listed(codes))
