"""The second reader: durable-rules, by forward chaining over findings and conclusions as facts.

It shares only the question with the first reader: rules are compiled from their *authored* trees, with
complements and interval tests of its own (`engine.rete_terms`). durable-rules is right only within limits that its
C source sets; `check_limits` tells the loader which rule lies outside, and how to split it.
"""

from __future__ import annotations

import importlib
import importlib.util
import itertools
import json
import threading
import weakref
from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import Any

from .conditions import AllOf, State, Status, variables
from .program import NO, YES, Program, Reading, Variable
from .rete_terms import (
    MAX_ALTERNATIVES,
    MAX_CONJUNCTIONS,
    MAX_FACTS,
    MAX_PENDING,
    MAX_SHARED,
    Fact,
    Way,
    check_limits,
    masks_of,
    sides_of,
)

_NUMBERS = itertools.count()  # of rulesets: their names must differ in a process
_LOCK = threading.Lock()  # one for the process: durable-rules crashes with two threads inside


def rete_available() -> bool:
    """Whether durable-rules is installed for this Python."""
    return importlib.util.find_spec("durable_rules_engine") is not None


class ReteReader:
    """A program as durable-rules rulesets. Threads may share it; they take turns.

    The state of an ordered variable is a run of cells, with or without "does not apply". Any other set of
    cells would be read as the run around it: less sharp than the specification, so that `read_twice` refuses.
    """

    name = "rete"

    def __init__(self, program: Program) -> None:
        """Compile ``program``; raises ImportError without durable-rules, ValueError for a rule outside its limits."""
        problems = [text for rule in program.rules for text in check_limits(rule, program.variables)]
        if problems:
            raise ValueError("\n".join(problems))
        self.program = program
        full = program.unknown
        sides = [list(sides_of(rule, full)) for rule in program.rules]
        parts = [half for part in _by_level_and_group(program) for half in _split(part, sides, program.variables)]
        self._rulesets = [_Ruleset(part, sides, program) for part in parts]

    def read(self, states: Sequence[State]) -> Reading:
        """Return the status of each rule; see `Reader`."""
        now, answers = list(states), set[tuple[int, int]]()
        surest = dict.fromkeys(self.program.conclusions, 0)
        for var in surest:
            now[var] = NO
        with _LOCK:
            for ruleset in self._rulesets:
                ruleset.read(now, answers)
                for k, var in ruleset.concludes:
                    surest[var] = max(surest[var], _surety(k, answers))
                    now[var] = (NO, NO | YES, YES)[surest[var]]
        return Reading(tuple(_status(k, answers) for k in range(len(self.program.rules))), tuple(now))


HOLDS, FAILS, REPLACED, KEPT = range(4)
"""The sides of a rule; an answer is the number of a rule and one of these."""


def _surety(k: int, answers: set[tuple[int, int]]) -> int:
    return 2 if (k, HOLDS) in answers else 0 if (k, FAILS) in answers else 1


def _status(k: int, answers: set[tuple[int, int]]) -> Status:
    if (k, FAILS) in answers or (k, REPLACED) in answers:
        return Status.RULED_OUT
    if (k, HOLDS) not in answers:
        return Status.UNDECIDED
    return Status.FIRED if (k, KEPT) in answers else Status.PROVISIONAL


def _by_level_and_group(program: Program) -> list[list[int]]:
    """Number the rules of each ruleset; a rule comes after the rulesets that conclude what it uses."""
    level_of: dict[int, int] = defaultdict(int)
    parts: dict[tuple[int, str], list[int]] = defaultdict(list)
    for k, rule in enumerate(program.rules):
        used = variables(AllOf((rule.authored, *rule.authored_replacements)))
        level = max((level_of[var] for var in used), default=0)
        parts[level, rule.group].append(k)
        for var in rule.concludes:
            level_of[var] = max(level_of[var], level + 1)
    return [parts[key] for key in sorted(parts)]


def _split(part: list[int], sides: Sequence[Sequence[list[Way]]], known: Sequence[Variable]) -> list[list[int]]:
    """Halve what is too much for one ruleset; one rule alone always fits (`check_limits`)."""
    ways = {frozenset(way.items()): way for k in part for side in sides[k] for way in side}
    shared = Counter(test for way in ways for test in way)
    facts = [Fact(var, known[var], masks) for var, masks in masks_of(ways.values()).items()]
    fits = (
        len(ways) <= MAX_CONJUNCTIONS
        and max(shared.values(), default=0) <= MAX_SHARED
        and len(facts) <= MAX_FACTS
        and all(fact.pending <= MAX_PENDING and fact.alternatives <= MAX_ALTERNATIVES for fact in facts)
    )
    if fits or len(part) == 1:
        return [part]
    middle = len(part) // 2
    return _split(part[:middle], sides, known) + _split(part[middle:], sides, known)


TAKEN, UNWANTED = 0, 1
"""What durable-rules may say to a fact: some pattern matches it, or none."""

_OPENING = '{"id": -1, "c": -1}'
"""The first fact of a visit; its rule does nothing but run. `delete_state` frees pointers that only a run sets:
a visit in which no rule ran would free whatever memory held before (seen: crash)."""


class _Ruleset:
    """Some rules' conjunctions in durable-rules; one that several sides share stands there once.

    The C module is called without `durable.engine`, whose Host starts two threads that run actions on
    their own and whose Closure costs more than the match.
    """

    def __init__(self, part: Sequence[int], sides: Sequence[Sequence[list[Way]]], program: Program) -> None:
        self.concludes = [(k, var) for k in part for var in program.rules[k].concludes]
        answers: dict[frozenset[tuple[int, State]], list[tuple[int, int]]] = defaultdict(list)
        for k in part:
            for side, ways in enumerate(sides[k]):
                for way in ways:
                    answers[frozenset(way.items())].append((k, side))
        self._always = answers.pop(frozenset(), [])
        known, masks = program.variables, masks_of(map(dict, answers))
        self._facts = [(var, known[var].full, Fact(var, known[var], masks[var])) for var in sorted(masks)]
        self._answers = {f"w{n}": found for n, found in enumerate(answers.values())}
        patterns = {var: fact for var, _, fact in self._facts}
        rules = {
            f"w{n}": {"all": [{f"m{i}": patterns[var].pattern(mask)} for i, (var, mask) in enumerate(sorted(way))]}
            for n, way in enumerate(answers)
        }
        rules["open"] = {"all": [{"m": {"c": -1}}]}
        self._answers["open"] = []
        self._engine: Any = importlib.import_module("durable_rules_engine")
        self._handle: int = self._engine.create_ruleset(f"layette-{next(_NUMBERS)}", json.dumps(rules))
        weakref.finalize(self, self._engine.delete_ruleset, self._handle)

    def read(self, states: Sequence[State], answers: set[tuple[int, int]]) -> None:
        """Assert what is known and collect the answers of every conjunction that matches."""
        answers.update(self._always)
        facts = [fact.text(states[var]) for var, full, fact in self._facts if states[var] != full]
        if not facts:
            return
        visit = self._assert(_OPENING)
        try:
            self._fire(visit, answers)
            for text in facts:
                self._assert(text)
            self._fire(visit, answers)
        finally:
            self._engine.delete_state(self._handle, None)  # else the visit stays in memory, and in the next one

    def _assert(self, text: str) -> int:
        """Assert one fact, whether or not a pattern wants it, and return the number of the visit inside."""
        result: int
        visit: int
        result, visit = self._engine.assert_fact(self._handle, text)
        if result not in (TAKEN, UNWANTED):
            raise RuntimeError(f"durable-rules did not take a fact (result {result}): {text}")
        return visit

    def _fire(self, visit: int, answers: set[tuple[int, int]]) -> None:
        started = self._engine.start_action_for_state(self._handle, visit)
        matched = started[1] if started else None
        while matched:
            answers.update(self._answers[matched.split('"', 2)[1]])
            matched = self._engine.complete_and_start_action(self._handle, visit)
