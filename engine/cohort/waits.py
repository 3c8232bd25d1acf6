"""What the undecided rules of a visit wait for: pairs of a rule and a finding, in numbers.

A visit has hundreds of them, and most visits have the same ones for the same states of a rule: each answer is made
once, and what is done for every visit are unions of sets of small numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Any, NamedTuple

from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.logic.conditions import AllOf, State, Status, variables

_KEPT = 50_000
"""Answers that are remembered."""


class _Waits(NamedTuple):
    """Of one rule under given states: the numbers of its pairs, and of its findings."""

    pairs: frozenset[int]
    findings: frozenset[int]


class Waiting(NamedTuple):
    """Of one visit: the numbers of its pairs, the findings that an emergency may hang on, how many findings."""

    pairs: frozenset[int]
    pressing: list[str]
    findings: int


class Waits:
    """Tells what undecided rules wait for; remembers what it told."""

    def __init__(self, plan: AnswerPlan) -> None:
        """Look at the rules of a pack, laid out."""
        pack = plan.pack
        self._plan, self._entries = plan, plan.pack.table.entries
        self._names = [instance.rule.shape.id for instance in pack.instances]
        self._pairs: dict[tuple[str, str], int] = {}
        self._findings: dict[str, int] = {}
        nodes = [AllOf((rule.applies, rule.when)) for rule in pack.program.rules]
        self._looks = [_look(sorted({*variables(node)})) for node in nodes]
        self._known: list[dict[Any, _Waits]] = [{} for _ in nodes]
        self._number = 0
        self._stat = [priority == "stat" for priority in plan.rule_priorities]

    def of(self, statuses: Sequence[Status], states: Sequence[State]) -> Waiting:
        """Return what a visit waits for."""
        undecided = Status.UNDECIDED
        open_now = [rule for rule, status in enumerate(statuses) if status is undecided]
        found = [self._known[rule].get(self._looks[rule](states)) or self._told(rule, states) for rule in open_now]
        pressing = frozenset().union(
            *[one.findings for rule, one in zip(open_now, found, strict=True) if self._stat[rule]]
        )
        names = [*self._findings]
        return Waiting(
            frozenset().union(*[one.pairs for one in found]),
            sorted([names[number] for number in pressing]),
            len(frozenset().union(*[one.findings for one in found])),
        )

    @property
    def pairs(self) -> Sequence[tuple[str, str]]:
        """The rule and the finding of each pair that was told so far."""
        return [*self._pairs]

    def _told(self, rule: int, states: Sequence[State]) -> _Waits:
        if self._number >= _KEPT:
            self._known, self._number = [{} for _ in self._known], 0
        asked = self._plan.open_rules.of(rule, Status.UNDECIDED, states).waits_for
        findings = {self._entries[var].view.subject for var in asked}
        pairs = {(self._names[rule], finding) for finding in findings}
        made = _Waits(
            frozenset([self._pairs.setdefault(pair, len(self._pairs)) for pair in sorted(pairs)]),
            frozenset([self._findings.setdefault(one, len(self._findings)) for one in sorted(findings)]),
        )
        self._known[rule][self._looks[rule](states)] = made
        self._number += 1
        return made


def _look(asked: Sequence[int]) -> Callable[[Sequence[State]], Any]:
    """Return a function from the states of a visit to those of some variables."""
    return itemgetter(*asked) if asked else lambda _: None
