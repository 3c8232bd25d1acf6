"""What the undecided rules of many visits wait for, by the findings that they are about.

Most visits have the same states of what one rule tests. So each rule is looked at once for each way in which it stands
open in a cohort, and what is done for every visit is arithmetic on columns.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cohort.coded import Coded
from layette.engine.logic.conditions import STATUSES, AllOf, State, Status, variables

_UNDECIDED = STATUSES.index(Status.UNDECIDED)
_KEPT = 50_000
"""Answers that are remembered."""
_MOST = 1 << 62
_SPARSE = 1 << 16
"""Up to how many combinations of codes are looked up in a table, rather than sorted."""

Flags = NDArray[np.bool_]
Numbers = NDArray[np.int64]


class Waiting(NamedTuple):
    """What visits wait for.

    ``findings``: how many at each visit; ``pressing``: those that an emergency may hang on, by name, each with the
    visits; ``pairs``: each rule with a finding that it waits for, and how many visits of each group do.
    """

    findings: Numbers
    pressing: Sequence[tuple[str, Flags]]
    pairs: Sequence[tuple[str, str, Numbers]]


class Waits:
    """Tells what undecided rules wait for; remembers what it told."""

    def __init__(self, plan: AnswerPlan) -> None:
        """Look at the rules of a pack, laid out."""
        self._plan = plan
        self._rules: dict[str, list[int]] = {}
        for number, instance in enumerate(plan.pack.instances):
            self._rules.setdefault(instance.rule.shape.id, []).append(number)
        nodes = [AllOf((rule.applies, rule.when)) for rule in plan.pack.program.rules]
        self._tested = [tuple(sorted({*variables(node)})) for node in nodes]
        self._known: dict[Any, tuple[str, ...]] = {}

    def of(self, statuses: NDArray[np.uint8], column: Callable[[int], Coded], groups: Numbers, number: int) -> Waiting:
        """Return what visits wait for.

        ``statuses``: of each rule (a row) at each visit, as `counted.statuses_of`. ``column``: a variable in codes,
        conclusions too. ``groups``: the group of each visit, from 0, of which there are ``number``.
        """
        visits = statuses.shape[1]
        found: dict[str, Flags] = {}
        pressing: dict[str, Flags] = {}
        pairs = []
        for name, rules in self._rules.items():
            own: dict[str, Flags] = {}
            for rule in rules:
                stat = self._plan.rule_priorities[rule] == "stat"
                for finding, waiting in self._of_rule(rule, np.flatnonzero(statuses[rule] == _UNDECIDED), column):
                    for some in (own, found, *([pressing] if stat else [])):
                        _flags(some, finding, visits)[waiting] = True
            pairs += [(name, finding, np.bincount(groups[own[finding]], minlength=number)) for finding in sorted(own)]
        total: Numbers = sum((flags.astype(np.int64) for flags in found.values()), np.zeros(visits, np.int64))
        return Waiting(total, sorted(pressing.items()), pairs)

    def _of_rule(self, rule: int, visits: Numbers, column: Callable[[int], Coded]) -> Iterator[tuple[str, Numbers]]:
        """Yield each finding that a rule waits for, with those of ``visits`` at which it does."""
        if not len(visits):
            return
        tested = self._tested[rule]
        columns = [column(var) for var in tested]
        codes = [one.codes[visits] for one in columns]
        ways, way_of = _ways(codes, [len(one.states) for one in columns], len(visits))
        by_finding: dict[str, list[int]] = {}
        for way, place in enumerate(ways):
            states = tuple([one.states[code[place]] for one, code in zip(columns, codes, strict=True)])
            for finding in self._findings(rule, states):
                by_finding.setdefault(finding, []).append(way)
        for finding, some in by_finding.items():
            waits = np.zeros(len(ways), bool)
            waits[some] = True
            yield finding, visits[waits[way_of]]

    def _findings(self, rule: int, states: tuple[State, ...]) -> tuple[str, ...]:
        key = rule, states
        found = self._known.get(key)
        if found is None:
            if len(self._known) >= _KEPT:
                self._known.clear()
            found = self._known[key] = self._told(rule, states)
        return found

    def _told(self, rule: int, states: tuple[State, ...]) -> tuple[str, ...]:
        entries, everything = self._plan.pack.table.entries, self._plan.pack.program.unknown
        for var, state in zip(self._tested[rule], states, strict=True):
            everything[var] = state
        asked = self._plan.open_rules.of(rule, Status.UNDECIDED, everything).waits_for
        return tuple(dict.fromkeys(entries[var].view.subject for var in asked))


def _flags(some: dict[str, Flags], name: str, visits: int) -> Flags:
    flags = some.get(name)
    if flags is None:
        flags = some[name] = np.zeros(visits, bool)
    return flags


def _ways(codes: Sequence[NDArray[Any]], sizes: Sequence[int], visits: int) -> tuple[Numbers, Numbers]:
    """Return the place of one visit for each way in which codes are combined, and which way each visit has."""
    keys, most = np.zeros(visits, np.int64), 1
    for column, size in zip(codes, sizes, strict=True):
        if most * size >= _MOST:
            keys = np.unique(keys, return_inverse=True)[1].reshape(-1)
            most = int(keys.max()) + 1
        if size > 1:
            keys = keys * size + column
            most *= size
    if most > _SPARSE:
        _, ways, way_of = np.unique(keys, return_index=True, return_inverse=True)
        return ways, way_of.reshape(-1)
    place = np.full(most, -1, np.int64)
    place[keys] = np.arange(visits)
    there = np.flatnonzero(place >= 0)
    number = np.empty(most, np.int64)
    number[there] = np.arange(len(there))
    return place[there], number[keys]
