"""The second reader: durable-rules, by forward chaining over findings and conclusions as facts.

It shares only the question with the first reader: rules are compiled from their *authored* trees, with
complements and interval tests of this module's own. A condition becomes two lists of *conjunctions*: the
ways in which it surely holds, and those in which it surely fails. Strong Kleene is a distributive lattice,
so "must hold" is "every test of some conjunction must hold", and "ruled out" is "the complement must hold".

A variable is one small fact. Of an unknown one nothing is asserted: only a test that folds away here could
match it. durable-rules is right only within limits that its C source sets; they are named and kept below.
"""

from __future__ import annotations

import importlib
import importlib.util
import itertools
import json
import threading
import weakref
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from .conditions import AllOf, Among, AnyOf, Node, Not, State, Status, variables
from .program import NO, YES, CompiledRule, Program, Reading, Variable

MAX_WAYS = 64  # conjunctions a side of a rule
MAX_PATTERNS = 16  # MAX_MESSAGE_FRAMES, error 304
MAX_ALTERNATIVES = 14  # `$or` in a pattern: MAX_SEQUENCE_EXPRESSIONS 32, error 113
MAX_PENDING = 56  # tests of one fact that may wait at once: MAX_STACK_SIZE 64, error 303
MAX_SHARED = 250  # conjunctions of a ruleset with the same pattern: BETA_LIST_LENGTH 256, error 108
MAX_CONJUNCTIONS = 1300  # of a ruleset: time grows faster than their number
MAX_FACTS = 500  # of a ruleset: NEXT_BUCKET_LENGTH 512, error 303 or worse
MANY = 400  # ways that are not worth counting further
MAX_TEXTS = 500  # states of one variable whose facts are kept

_NUMBERS = itertools.count()  # of rulesets: their names must differ in a process
_LOCK = threading.Lock()  # one for the process: durable-rules crashes with two threads inside

Way = Mapping[int, State]
"""A conjunction: for each variable in it, the atoms among which its state must lie."""


def rete_available() -> bool:
    """Whether durable-rules is installed for this Python."""
    return importlib.util.find_spec("durable_rules_engine") is not None


# --- from authored trees to conjunctions


@dataclass(frozen=True, slots=True)
class _Group:
    """All (or any) of some tests, one a variable, and of some groups of the other kind."""

    every: bool
    tests: tuple[tuple[int, State], ...]
    groups: tuple[_Group, ...]


class _TooManyWaysError(Exception):
    """A condition whose ways are not worth counting to the end."""


def _grouped(node: Node, wanted: bool, full: Sequence[State]) -> _Group:
    """Read ``node``, or its complement, with the tests of one variable united or intersected."""
    match node:
        case Among(var, mask):
            return _Group(True, ((var, mask if wanted else full[var] & ~mask),), ())
        case Not(part):
            return _grouped(part, not wanted, full)
        case AllOf(parts) | AnyOf(parts):
            return _joined(isinstance(node, AllOf) is wanted, [_grouped(part, wanted, full) for part in parts])


def _joined(every: bool, parts: Iterable[_Group]) -> _Group:
    tests: dict[int, State] = {}
    groups: dict[_Group, None] = {}
    for part in parts:
        if part.every is not every and (part.groups or len(part.tests) != 1):
            groups[part] = None
            continue
        for var, mask in part.tests:
            known = tests.get(var, mask)
            tests[var] = known & mask if every else known | mask
        groups.update(dict.fromkeys(part.groups))
    if len(groups) == 1 and not tests:
        return next(iter(groups))
    return _Group(every, tuple(tests.items()), tuple(groups))


def _ways(group: _Group, full: Sequence[State]) -> list[Way]:
    parts = [_test_ways(var, mask, full[var]) for var, mask in group.tests]
    parts += [_ways(inner, full) for inner in group.groups]
    return _product(parts) if group.every else _absorbed(way for part in parts for way in part)


def _test_ways(var: int, mask: State, full: State) -> list[Way]:
    """Fold a test that no state can pass, and one that every state does."""
    if not mask:
        return []
    return [{}] if mask == full else [{var: mask}]


def _product(parts: Iterable[Sequence[Way]]) -> list[Way]:
    ways: list[Way] = [{}]
    for part in parts:
        both = (_both(one, two) for one in ways for two in part)
        ways = _absorbed(way for way in both if all(way.values()))
    return ways


def _both(one: Way, two: Way) -> Way:
    return {**one, **{var: mask & one.get(var, mask) for var, mask in two.items()}}


def _absorbed(ways: Iterable[Way]) -> list[Way]:
    """Leave out each way that asks for more than another one does."""
    kept: list[Way] = []
    for way in ways:
        if not any(_implies(way, other) for other in kept):
            kept = [*(other for other in kept if not _implies(other, way)), way]
        if len(kept) > MANY:
            raise _TooManyWaysError
    return kept


def _implies(way: Way, other: Way) -> bool:
    return all(var in way and way[var] & ~mask == 0 for var, mask in other.items())


def _condition_ways(parts: Sequence[Node], every: bool, wanted: bool, full: Sequence[State]) -> list[Way]:
    """Ways of all (or any) of conditions that the specification reads apart: nothing is merged across them."""
    each = [_ways(_grouped(part, wanted, full), full) for part in parts]
    return _product(each) if every is wanted else _absorbed(way for ways in each for way in ways)


def _sides(rule: CompiledRule, full: Sequence[State]) -> Iterator[list[Way]]:
    """Yield ways in which the rule holds, fails, is replaced, is not replaced.

    ``authored`` is ``AllOf((guard, when))``, which the specification evaluates apart.
    """
    own: tuple[Node, ...] = (rule.authored,)
    if rule.applies != AllOf(()) and isinstance(rule.authored, AllOf) and len(rule.authored.parts) == 2:
        own = rule.authored.parts
    for parts, every in ((own, True), (rule.authored_replacements, False)):
        for wanted in (True, False):
            yield _condition_ways(parts, every, wanted, full)


# --- what durable-rules can hold


def check_limits(rule: CompiledRule, variables: Sequence[Variable]) -> list[str]:
    """Say what in ``rule`` the second reader cannot hold, and how to split it. Needs no durable-rules."""
    full = [variable.full for variable in variables]
    try:
        sides = list(_sides(rule, full))
    except _TooManyWaysError:
        return [_advice(rule, variables, f"more than {MANY} conjunctions", MAX_WAYS)]
    ways = [way for side in sides for way in side]
    most, longest = max(map(len, sides)), max(map(len, ways), default=0)
    found = [_advice(rule, variables, f"{most} conjunctions", MAX_WAYS)] if most > MAX_WAYS else []
    if longest > MAX_PATTERNS:
        found.append(_advice(rule, variables, f"{longest} findings in one conjunction", MAX_PATTERNS))
    for var, masks in _masks(ways).items():
        fact = _Fact(var, variables[var], masks)
        for size, limit, what in (
            (fact.alternatives, MAX_ALTERNATIVES, "gaps between ranges"),
            (fact.pending, MAX_PENDING, "comparisons"),
        ):
            if size > limit:
                found.append(_advice(rule, variables, f"{size} {what} of {variables[var].key!r}", limit))
    return found


def _advice(rule: CompiledRule, known: Sequence[Variable], needs: str, limit: int) -> str:
    """Name the widest part below the top, by the variables in it."""
    parts: list[Node] = [rule.authored, *rule.authored_replacements]
    while any(isinstance(part, AllOf) for part in parts):
        parts = [inner for part in parts for inner in (part.parts if isinstance(part, AllOf) else (part,))]
    keys = max((list(dict.fromkeys(variables(part))) for part in parts), key=len, default=[])
    part = ", ".join(known[var].key for var in keys)
    return f"{rule.id} needs {needs}; the limit is {limit}: give the part on {part!r} a conclusion of its own"


def _masks(ways: Iterable[Way]) -> dict[int, set[State]]:
    masks: dict[int, set[State]] = defaultdict(set)
    for way in ways:
        for var, mask in way.items():
            masks[var].add(mask)
    return masks


class _Fact:
    """How the states of one variable are asserted in one ruleset, and how its tests are asked.

    An ordered variable says its lowest and highest possible cell, and apart from them whether it may not
    apply (n). Of the others, atoms that no test here tells apart form a class, and the fact names each
    class that is out of question: a set of atoms lies inside a mask if all classes outside are named.
    """

    def __init__(self, number: int, variable: Variable, masks: Iterable[State]) -> None:
        self.number, self.ordered, self.last = number, variable.ordered, len(variable.atoms) - 1
        tested = sorted(masks)
        classes: dict[tuple[int, ...], State] = defaultdict(int)
        for atom in range(self.last + 1):
            classes[tuple(mask >> atom & 1 for mask in tested)] |= 1 << atom
        self._classes = list(classes.values())
        questions = [self._questions(mask) for mask in tested]
        asked = {str(test) for question in questions for test in _leaves(question)}
        self.pending = len(asked)
        self.alternatives = max((sum("$or" in test for test in question) for question in questions), default=0)
        self._texts: dict[State, str] = {}

    def pattern(self, mask: State) -> dict[str, Any]:
        """Return the durable-rules expression for "the state lies inside ``mask``"."""
        return {"$and": [{"c": self.number}, *self._questions(mask)]}

    def text(self, state: State) -> str:
        """Return the fact, as JSON.

        It brings its own id. One that durable-rules makes is a hash of 32 bits in the end, and of two facts
        whose hashes collide the second is dropped: of 4,000 pairs in a visit, once in a million visits.
        """
        if state not in self._texts:
            if len(self._texts) > MAX_TEXTS:
                self._texts.clear()
            self._texts[state] = json.dumps({"id": self.number, "c": self.number, **self._values(state)})
        return self._texts[state]

    def _questions(self, mask: State) -> list[dict[str, Any]]:
        if not self.ordered:
            return [{f"x{k}": 1} for k, atoms in enumerate(self._classes) if not atoms & mask]
        cells = [_outside(low, high, self.last) for low, high in _gaps(mask, self.last)]
        return cells if mask & 1 else [*cells, {"n": 0}]

    def _values(self, state: State) -> dict[str, int]:
        if not self.ordered:
            return {f"x{k}": 1 for k, atoms in enumerate(self._classes) if not atoms & state}
        cells = state & ~1
        if not cells:  # it does not apply, so that every test of its cells may be passed
            return {"n": 1, "lo": self.last + 1, "hi": 0}
        return {"n": state & 1, "lo": (cells & -cells).bit_length() - 1, "hi": cells.bit_length() - 1}


def _gaps(mask: State, last: int) -> Iterator[tuple[int, int]]:
    """Yield the runs of cells that are not in ``mask``."""
    low = None
    for cell in range(1, last + 2):
        inside = cell > last or mask >> cell & 1
        if inside and low is not None:
            yield low, cell - 1
            low = None
        elif not inside and low is None:
            low = cell


def _outside(low: int, high: int, last: int) -> dict[str, Any]:
    """An interval with a cell of no gap in it lies below the gap or above it."""
    below, above = {"$lt": {"hi": low}}, {"$gt": {"lo": high}}
    return above if low == 1 else below if high == last else {"$or": [below, above]}


def _leaves(tests: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
    for test in tests:
        yield from test.get("$or", (test,))


# --- reading a visit


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
        sides = [list(_sides(rule, full)) for rule in program.rules]
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
    facts = [_Fact(var, known[var], masks) for var, masks in _masks(ways.values()).items()]
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
        known, masks = program.variables, _masks(map(dict, answers))
        self._facts = [(var, known[var].full, _Fact(var, known[var], masks[var])) for var in sorted(masks)]
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
