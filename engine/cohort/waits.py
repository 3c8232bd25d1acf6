"""What the undecided rules of a visit wait for: pairs of a rule and a finding, in numbers.

A visit has hundreds of them, and most visits have the same ones for the same states: the answer of each rule is made
once, that of all rules of one file together too, and what is done for every visit is a union of some forty sets.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from operator import itemgetter
from typing import Any, NamedTuple

from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.logic.conditions import AllOf, State, Status, variables
from layette.engine.logic.planes import STATUSES

_UNDECIDED = STATUSES.index(Status.UNDECIDED)
_KEPT = 50_000
"""Answers that are remembered, of rules and of files each."""


class _Waits(NamedTuple):
    """The numbers of pairs, of all findings in them, and of the findings that an emergency may hang on."""

    pairs: frozenset[int]
    findings: frozenset[int]
    pressing: frozenset[int]


class _Together(NamedTuple):
    """Rules that are looked at together: what picks their statuses, and the states that they test."""

    rules: tuple[int, ...]
    statuses: Callable[[bytes], Any]
    states: Callable[[Sequence[State]], Any]


class Waiting(NamedTuple):
    """Of one visit: the numbers of its pairs, the findings that an emergency may hang on, how many findings."""

    pairs: frozenset[int]
    pressing: list[str]
    findings: int


class Waits:
    """Tells what undecided rules wait for; remembers what it told."""

    def __init__(self, plan: AnswerPlan) -> None:
        """Look at the rules of a pack, laid out."""
        self._plan = plan
        self._names = [instance.rule.shape.id for instance in plan.pack.instances]
        self._pairs: dict[tuple[str, str], int] = {}
        self._findings: dict[str, int] = {}
        nodes = [AllOf((rule.applies, rule.when)) for rule in plan.pack.program.rules]
        asked = [frozenset(variables(node)) for node in nodes]
        self._looks = [_picked(sorted(some)) for some in asked]
        files: dict[str, list[int]] = {}
        for rule, name in enumerate(self._names):
            files.setdefault(name.partition(".")[0], []).append(rule)
        self._files = [
            _Together((*some,), _picked(some), _picked(sorted(frozenset().union(*[asked[rule] for rule in some]))))
            for some in files.values()
        ]
        self._of_rules: dict[Any, _Waits] = {}
        self._of_files: dict[Any, _Waits] = {}

    def of(self, codes: bytes, states: Sequence[State]) -> Waiting:
        """Return what a visit waits for, by the statuses of its rules (`counted.told`) and its states."""
        known = self._of_files
        found = []
        for number, (rules, of_codes, of_states) in enumerate(self._files):
            key = number, of_codes(codes), of_states(states)
            one = known.get(key)
            if one is None:
                open_now = (rule for rule in rules if codes[rule] == _UNDECIDED)
                one = _joined([self._of_rule(rule, states) for rule in open_now])
                _keep(known, key, one)
            found.append(one)
        all_of = _joined(found)
        names = [*self._findings]
        return Waiting(all_of.pairs, sorted([names[number] for number in all_of.pressing]), len(all_of.findings))

    @property
    def pairs(self) -> Sequence[tuple[str, str]]:
        """The rule and the finding of each pair that was told so far."""
        return [*self._pairs]

    def _of_rule(self, rule: int, states: Sequence[State]) -> _Waits:
        key = rule, self._looks[rule](states)
        found = self._of_rules.get(key)
        if found is None:
            found = self._told(rule, states)
            _keep(self._of_rules, key, found)
        return found

    def _told(self, rule: int, states: Sequence[State]) -> _Waits:
        entries = self._plan.pack.table.entries
        asked = self._plan.open_rules.of(rule, Status.UNDECIDED, states).waits_for
        findings = sorted({entries[var].view.subject for var in asked})
        pairs = [(self._names[rule], finding) for finding in findings]
        numbers = frozenset([self._findings.setdefault(one, len(self._findings)) for one in findings])
        return _Waits(
            frozenset([self._pairs.setdefault(pair, len(self._pairs)) for pair in pairs]),
            numbers,
            numbers if self._plan.rule_priorities[rule] == "stat" else frozenset(),
        )


def _joined(some: Sequence[_Waits]) -> _Waits:
    pairs, findings, pressing = zip(*some, strict=True) if some else ((), (), ())
    none: frozenset[int] = frozenset()
    return _Waits(none.union(*pairs), none.union(*findings), none.union(*pressing))


def _keep(known: dict[Any, _Waits], key: Any, found: _Waits) -> None:
    if len(known) >= _KEPT:
        known.clear()
    known[key] = found


def _picked(places: Sequence[int]) -> Callable[[Sequence[Any]], Any]:
    """Return a function that picks some elements, to compare them by."""
    return itemgetter(*places) if places else lambda _: None
