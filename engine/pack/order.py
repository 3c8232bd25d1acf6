"""The order in which rules are read: each after all rules that conclude what it tests, and as written where free."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from graphlib import CycleError, TopologicalSorter

from layette.engine.logic.conditions import variables
from layette.engine.logic.program import CompiledRule

Place = tuple[str, int]
"""A rule by its number, or a conclusion by its variable."""


def in_order(rules: Sequence[CompiledRule]) -> tuple[list[int], list[int]]:
    """Return the numbers of ``rules`` in the order in which they are read, and of those that wait in or for a ring.

    Rules come in waves: first those that test no conclusion, then those that test only what these conclude. However
    long a chain of conclusions is, it is followed without recursion, in time that grows with the tests alone.
    """
    sorter = _waiting(rules)
    with suppress(CycleError):  # what a ring holds back never becomes ready
        sorter.prepare()
    order: list[int] = []
    while ready := sorter.get_ready():
        order += sorted(number for kind, number in ready if kind == "rule")
        sorter.done(*ready)
    placed = set(order)
    return order, [k for k in range(len(rules)) if k not in placed]


def _waiting(rules: Sequence[CompiledRule]) -> TopologicalSorter[Place]:
    """Let each rule wait for the conclusions that it tests, and each conclusion for all rules that conclude it."""
    concluded = {var for rule in rules for var in rule.concludes}
    sorter: TopologicalSorter[Place] = TopologicalSorter()
    for k, rule in enumerate(rules):
        tested = {var for node in (rule.applies, rule.when, *rule.replacements) for var in variables(node)}
        sorter.add(("rule", k), *(("conclusion", var) for var in tested & concluded))
        for var in rule.concludes:
            sorter.add(("conclusion", var), ("rule", k))
    return sorter
