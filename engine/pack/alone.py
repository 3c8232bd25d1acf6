"""What one recording can bring by itself: whether a finding may be an emergency while all else is unknown.

Age and settings count as whatever they may be, since both are known at every visit; all other findings are unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

from layette.engine.errors import PackProblem
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State, variables
from layette.engine.logic.program import NO, YES
from layette.engine.pack.compiled import Compiled
from layette.engine.pack.written.shape import AskAfter
from layette.engine.pack.written.shapes import FindingShape
from layette.engine.pack.written.subjects import Subjects, inputs_of

Value = str | Fraction
"""What is recorded: a word, or a number in the unit of the finding."""


class Alone:
    """A compiled pack, asked for what single values bring."""

    def __init__(self, compiled: Compiled, subjects: Subjects) -> None:
        """Lay out who tests what, and what is concluded of nothing but an age or a setting."""
        self._compiled = compiled
        self._rules, self._table = compiled.program.rules, compiled.table
        ages = {name for name, shape in subjects.measures.items() if not inputs_of(shape)}
        views = [entry.view for entry in self._table.entries]
        self._free = frozenset(
            k for k, view in enumerate(views)
            if view.subject in ages or view.subject.startswith("setting:") or view.what == "age"
        )  # fmt: skip
        self._states = list(compiled.program.full)
        for var, state in self._follow({}, set(range(len(self._rules))))[1].items():
            self._states[var] = state

    def brings_stat(self, finding: str) -> Iterator[tuple[Value, str]]:
        """Yield each value of ``finding`` that alone brings `stat`, with the first rule that does."""
        mine = self._variables_of.get(finding, ())
        asking = {k for var in mine for k in self._asked_by.get(var, ())}
        for value in self._values(mine):
            held, _ = self._follow({var: self._state(var, value) for var in mine}, set(asking))
            pressing = [k for k in held if self._is_stat(k)]
            if pressing:
                yield value, self._compiled.instances[pressing[0]].rule.shape.id

    def _is_stat(self, k: int) -> bool:
        return any(then.verb is not None and then.rank == 0 for then in self._compiled.instances[k].rule.shape.then)

    def _follow(self, known: Mapping[int, State], asking: set[int]) -> tuple[list[int], Mapping[int, State]]:
        """Return which rules among ``asking`` hold, with those that hang on what they conclude; and what is known."""
        states, held = dict(known), list[int]()
        while asking:
            k = min(asking)  # rules stand in dependency order
            asking.discard(k)
            if not self._holds(k, states):
                continue
            held.append(k)
            for var in self._rules[k].concludes:
                if states.get(var, self._states[var]) != YES:
                    states[var] = YES
                    asking |= {after for after in self._asked_by.get(var, ()) if after > k}
        return held, states

    def _holds(self, k: int, states: Mapping[int, State]) -> bool:
        """Whether a rule surely holds; one that only asks for something by an age (`due`) says nothing."""
        rule = self._rules[k]
        if self._compiled.instances[k].rule.shape.when is None:
            return False
        return self._must(rule.applies, states) and self._must(rule.when, states)

    def _must(self, node: Node, states: Mapping[int, State]) -> bool:
        match node:
            case AllOf(parts):
                return all(self._must(part, states) for part in parts)
            case AnyOf(parts):
                return any(self._must(part, states) for part in parts)
            case Among(var, mask):
                return mask != 0 if var in self._free else states.get(var, self._states[var]) & ~mask == 0
            case Not():
                raise ValueError("a condition in normal form has no negation")

    def _values(self, mine: tuple[int, ...]) -> Iterator[Value]:
        """Yield every value of a finding that its tests tell apart: a word, a cut point, a number beside one."""
        entries = [self._table.entries[var] for var in mine]
        words = [value for entry in entries if entry.kind == "category" for value in entry.values]
        yield from dict.fromkeys((*words, *(value for entry in entries for value in entry.view.accept)))
        numbers = [var for var in mine if self._is_number(var)]
        cuts = sorted({cut for var in numbers for cut in self._table.cuts(var)})
        if cuts:
            yield from (cuts[0] - 1, *cuts, *((low + high) / 2 for low, high in pairwise(cuts)), cuts[-1] + 1)

    def _is_number(self, var: int) -> bool:
        entry = self._table.entries[var]
        return entry.kind == "number" and entry.view.what == "value"

    def _state(self, var: int, value: Value) -> State:
        """Return what a recording of this visit, on every side that there is, leaves of one variable of its finding."""
        entry, full = self._table.entries[var], self._compiled.program.full[var]
        view = entry.view
        if view.pick == "earlier" or view.qualifier or view.what in ("age", "since", "beyond", "unequal"):
            return full
        if view.what == "recorded":
            return YES
        if view.what == "among":
            return YES if value in view.accept else NO
        if isinstance(value, Fraction):
            return 2 << self._table.place(var, value.numerator, value.denominator) if self._is_number(var) else full
        return entry.masks.get(value, full)

    @cached_property
    def _variables_of(self) -> Mapping[str, tuple[int, ...]]:
        by_subject: dict[str, list[int]] = {}
        for var, entry in enumerate(self._table.entries):
            by_subject.setdefault(entry.view.subject, []).append(var)
        return {name: tuple(found) for name, found in by_subject.items()}

    @cached_property
    def _asked_by(self) -> Mapping[int, tuple[int, ...]]:
        asked: dict[int, dict[int, None]] = {}
        for k, rule in enumerate(self._rules):
            for var in (*variables(rule.applies), *variables(rule.when)):
                asked.setdefault(var, {})[k] = None
        return {var: tuple(rules) for var, rules in asked.items()}


def check_hidden(compiled: Compiled, subjects: Subjects) -> Iterator[PackProblem]:
    """Yield the findings that come up late and alone can bring `stat`: no emergency may wait for another answer."""
    late = {name: shape for name, shape in subjects.findings.items() if _comes_late(shape)}
    if not late:
        return
    alone = Alone(compiled, subjects)
    for name, shape in late.items():
        first = next(alone.brings_stat(name), None)
        if first is not None:
            value, rule = first
            said = value if isinstance(value, str) else f"{float(value):g}"
            word = shape.ask if isinstance(shape.ask, str) else "after"
            message = f"'{name}: {said}' alone can bring stat ({rule}): not '{word}' but first, record or family"
            yield subjects.documents[name].problem(("findings", name, "ask"), "hidden-emergency", message)


def _comes_late(shape: FindingShape) -> bool:
    return shape.ask == "seen" or isinstance(shape.ask, AskAfter)
