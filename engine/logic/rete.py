"""The second reader: durable-rules, by forward chaining over findings and conclusions as facts.

It shares only the question with the first reader: rules are compiled from their *authored* trees, with
complements and interval tests of its own (`rete_terms`). durable-rules is right only within limits that its
C source sets; `check_limits` tells the loader which rule lies outside, and how to split it.
"""

from __future__ import annotations

import importlib
import importlib.util
import itertools
import json
import weakref
from collections import Counter, defaultdict
from collections.abc import Sequence
from functools import cache
from typing import Any

from layette.engine.logic.conditions import AllOf, State, Status, variables
from layette.engine.logic.program import NO, YES, Program, Reading, Variable
from layette.engine.logic.rete_terms import (
    MAX_PENDING,
    MAX_TESTS,
    MAX_TEXTS,
    Conjunction,
    Fact,
    check_limits,
    masks_of,
    sides_of,
)
from layette.engine.logic.turns import Turns

_NUMBERS = itertools.count()  # of rulesets: their names must differ in a process
_TURNS = Turns()  # one for the process: durable-rules crashes with two threads inside


@cache
def rete_available() -> bool:
    """Whether durable-rules is installed for this Python."""
    return importlib.util.find_spec("durable_rules_engine") is not None


class ReteReader:
    """A program as durable-rules rulesets. Threads may share it; they take turns. A forked child builds its own.

    The state of an ordered variable is a run of cells, with or without "does not apply". Any other set of
    cells would be read as the run around it: less sharp than the specification, so that `read_twice` refuses.
    """

    name = "rete"

    def __init__(self, program: Program) -> None:
        """Compile ``program``; raises ImportError without durable-rules, ValueError for a rule outside its limits."""
        problems = [text for rule in program.rules for text in check_limits(rule, program.variables, program.full)]
        if problems:
            raise ValueError("\n".join(problems))
        self.program = program
        with _TURNS.lock:
            self._build()

    def _build(self) -> None:
        always, levels = [0] * len(self.program.rules), []
        concluders = _concluders(self.program)
        for part in _by_level(self.program):
            answers = _answers(part, self.program)
            for k, side in answers.pop(frozenset(), ()):
                always[k] |= side
            concluded = {var: concluders[var] for k in part for var in self.program.rules[k].concludes}
            levels.append(_Level(answers, concluded, self.program.variables))
        self._always, self._levels, self._forks = always, levels, _TURNS.forks

    def read(self, states: Sequence[State]) -> Reading:
        """Return the status of each rule; see `Reader`."""
        now, sides = list(states), list(self._always)
        for var in self.program.conclusions:
            now[var] = NO
        with _TURNS.lock:
            if self._forks != _TURNS.forks:  # a parent's rulesets may hold half a visit
                self._build()
            for level in self._levels:
                level.read(now, sides)
        return Reading(tuple([_STATUSES[found] for found in sides]), tuple(now))


HOLDS, FAILS, REPLACED, KEPT = 1, 2, 4, 8
"""The sides of a rule, as bits of what was found of it."""


def _status(found: int) -> Status:
    if found & (FAILS | REPLACED):
        return Status.RULED_OUT
    if not found & HOLDS:
        return Status.UNDECIDED
    return Status.FIRED if found & KEPT else Status.PROVISIONAL


_STATUSES = [_status(found) for found in range(16)]


def _by_level(program: Program) -> list[list[int]]:
    """Number the rules of each level; a rule stands above all those that conclude what it uses."""
    level_of: dict[int, int] = defaultdict(int)
    parts: dict[int, list[int]] = defaultdict(list)
    for k, rule in enumerate(program.rules):
        used = variables(AllOf((rule.authored, *rule.authored_replacements)))
        level = max((level_of[var] for var in used), default=0)
        parts[level].append(k)
        for var in rule.concludes:
            level_of[var] = max(level_of[var], level + 1)
    return [parts[level] for level in sorted(parts)]


Answers = dict[Conjunction, list[tuple[int, int]]]
"""For each conjunction, the rules it says something of, and which side of them."""


def _answers(part: Sequence[int], program: Program) -> Answers:
    """List the conjunctions of some rules; one that several sides share stands there once."""
    answers: Answers = defaultdict(list)
    for k in part:
        for side, ways in zip((HOLDS, FAILS, REPLACED, KEPT), sides_of(program.rules[k], program.full), strict=True):
            for way in ways:
                answers[frozenset(way.items())].append((k, side))
    return answers


class _Level:
    """Rules that use no conclusion of one another, in rulesets of few conjunctions.

    A ruleset costs as much as all its patterns (10 kB each, set to zero in every visit), however few facts come:
    one in which no conjunction can be complete is left out. What is asserted where is found in one pass before
    durable-rules runs, which leaves nothing that Python looks up in a near cache.
    """

    def __init__(self, answers: Answers, concluding: dict[int, list[int]], known: Sequence[Variable]) -> None:
        parts = _cut(sorted(answers, key=_subject), known)
        self._rulesets = [_Ruleset({way: answers[way] for way in part}, known) for part in parts]
        facts: dict[int, list[tuple[int, int, Fact]]] = defaultdict(list)
        for number, ruleset in enumerate(self._rulesets):
            for var, fact in ruleset.facts.items():
                facts[var].append((number, ruleset.bits[var], fact))
        self._texts = [(var, known[var].full, _Texts(facts[var])) for var in sorted(facts)]
        self._concluding = concluding

    def read(self, now: list[State], sides: list[int]) -> None:
        """Add what is found of each rule to ``sides``, and the conclusions of this level to ``now``."""
        for ruleset, texts in self._useful(now):
            for k, side in ruleset.match(texts):
                sides[k] |= side
        for var, rules in self._concluding.items():
            now[var] = _conclusion([sides[k] for k in rules])

    def _useful(self, states: Sequence[State]) -> list[tuple[_Ruleset, list[str]]]:
        given: dict[int, list[tuple[int, int, str]]] = defaultdict(list)
        for var, full, texts in self._texts:
            if (state := states[var]) != full:
                for fact in texts[state]:
                    given[fact[0]].append(fact)
        found = ((self._rulesets[number], said) for number, said in given.items())
        return [(ruleset, useful) for ruleset, said in found if (useful := ruleset.useful(said))]


def _cut(ways: Sequence[Conjunction], known: Sequence[Variable]) -> list[Sequence[Conjunction]]:
    """Halve what is too much for one ruleset; one conjunction alone always fits (`check_limits`)."""
    if len(ways) < 2 or _fits(ways, known):
        return [ways] if ways else []
    middle = len(ways) // 2
    return _cut(ways[:middle], known) + _cut(ways[middle:], known)


def _fits(ways: Sequence[Conjunction], known: Sequence[Variable]) -> bool:
    """Whether the tests are few enough, and not too many wait at once: `$or` waits once for each conjunction."""
    if sum(map(len, ways)) > MAX_TESTS:
        return False
    facts = {var: Fact(var, known[var], masks) for var, masks in masks_of(map(dict, ways)).items()}
    waiting = Counter({var: fact.pending for var, fact in facts.items()})
    for var, mask in (test for way in ways for test in way):
        waiting[var] += facts[var].choices(mask)
    return max(waiting.values()) <= MAX_PENDING


def _concluders(program: Program) -> dict[int, list[int]]:
    """List, for each conclusion, the rules that draw it."""
    found: dict[int, list[int]] = defaultdict(list)
    for k, rule in enumerate(program.rules):
        for var in rule.concludes:
            found[var].append(k)
    return found


def _conclusion(rules: Sequence[int]) -> State:
    holds, fails = 0, FAILS
    for found in rules:
        holds |= found & HOLDS
        fails &= found
    return YES if holds else NO if fails else NO | YES


class _Texts(dict[State, list[tuple[int, int, str]]]):
    """For each state of one variable: the rulesets that want its fact, its bit there, and the fact."""

    def __init__(self, facts: Sequence[tuple[int, int, Fact]]) -> None:
        super().__init__()
        self._facts = facts

    def __missing__(self, state: State) -> list[tuple[int, int, str]]:
        if len(self) > MAX_TEXTS:
            self.clear()
        said = ((number, bit, fact.text(state)) for number, bit, fact in self._facts)
        self[state] = [entry for entry in said if entry[2]]
        return self[state]


def _subject(way: Conjunction) -> tuple[bool, list[int]]:
    """Sort key: findings that stand alone first, then what belongs to the same one; guards have the lowest numbers."""
    return len(way) > 1, sorted((var for var, _ in way), reverse=True)


TAKEN, UNWANTED = 0, 1
"""What durable-rules may say to a fact: some pattern matches it, or none."""


class _Ruleset:
    """Some conjunctions in durable-rules.

    The C module is called without `durable.engine`, whose Host starts two threads that run actions on
    their own and whose Closure costs more than the match.
    """

    def __init__(self, answers: Answers, known: Sequence[Variable]) -> None:
        self.facts = {var: Fact(var, known[var], masks) for var, masks in masks_of(map(dict, answers)).items()}
        self.bits = {var: 1 << n for n, var in enumerate(self.facts)}
        needs = {sum(self.bits[var] for var, _ in way) for way in answers}
        self._alone = sum(need for need in needs if need in self.bits.values())
        self._together = [need for need in needs if need not in self.bits.values()]
        self._answers = {f"w{n}": found for n, found in enumerate(answers.values())}
        rules = {f"w{n}": {"all": self._patterns(way)} for n, way in enumerate(answers)}
        self._engine: Any = importlib.import_module("durable_rules_engine")
        self._handle: int = self._engine.create_ruleset(f"layette-{next(_NUMBERS)}", json.dumps(rules))
        weakref.finalize(self, _delete, self._engine, self._handle, _TURNS.forks)
        self._open(next(iter(answers)))

    def _patterns(self, way: Conjunction) -> list[dict[str, Any]]:
        return [{f"m{i}": self.facts[var].pattern(mask)} for i, (var, mask) in enumerate(sorted(way))]

    def _open(self, way: Conjunction) -> None:
        """Run a first visit in which a rule is sure to run.

        `delete_state` frees pointers that only a run sets, and clears them for the visits after it, which get the
        same memory. A first visit in which no rule ran would free whatever memory held before (seen: crash).
        """
        if not self.match([self.facts[var].text(mask & -mask) for var, mask in way]):
            raise RuntimeError("durable-rules did not match the facts of a conjunction")

    def useful(self, given: Sequence[tuple[int, int, str]]) -> list[str]:
        """Return the facts of the conjunctions of which each variable is given; no other can be complete.

        It looks at one variable at a time, and whether some test of it in this ruleset can match: what does match
        is for durable-rules to say. A fact too few could only leave a rule undecided, never fire one.
        """
        if not self._together:
            return [text for _, _, text in given]
        present = used = 0
        for _, bit, _ in given:
            present |= bit
        for need in self._together:
            if need & present == need:
                used |= need
        used |= present & self._alone
        return [text for _, bit, text in given if bit & used]

    def match(self, texts: Sequence[str]) -> list[tuple[int, int]]:
        """Assert facts, run every rule that matches, and return its answers."""
        engine, handle, found = self._engine, self._handle, list[tuple[int, int]]()
        try:
            for text in texts:
                result, visit = engine.assert_fact(handle, text)
                if result not in (TAKEN, UNWANTED):
                    raise RuntimeError(f"durable-rules did not take a fact (result {result}): {text}")
            started = engine.start_action_for_state(handle, visit)
            matched = started[1] if started else None
            while matched:
                found += self._answers[matched.split('"', 2)[1]]
                matched = engine.complete_and_start_action(handle, visit)
        finally:
            engine.delete_state(handle, None)  # else the visit stays in memory, and in the next one
        return found


def _delete(engine: Any, handle: int, forks: int) -> None:
    """Free a ruleset, but not a parent's: it may be in use there, and a child has no need of its memory."""
    if forks == _TURNS.forks:
        engine.delete_ruleset(handle)
