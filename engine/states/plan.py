"""What the variables of a pack look at, laid out once, so that a visit is turned into states by look-ups."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import cached_property, lru_cache
from typing import Any

from layette.engine.logic.conditions import AllOf, Node, State
from layette.engine.logic.native import flag_of
from layette.engine.logic.program import CompiledRule, Program
from layette.engine.pack.load import PackParts
from layette.engine.pack.written.subjects import SEX, inputs_of
from layette.engine.pack.written.views import Entry, VariableTable, View
from layette.engine.pack.written.written import Instance
from layette.engine.states.filling import Choices, Filling, filling
from layette.engine.states.inputs import Compute
from layette.engine.states.measures import BINDINGS


class PackVariables(PackParts):
    """The variables of a pack by what they look at; a part of `Pack`."""

    @cached_property
    def program(self) -> Program:
        """The compiled rules."""
        return self.compiled.program

    @cached_property
    def table(self) -> VariableTable:
        """The variables of the program, with their views and cut points."""
        return self.compiled.table

    @cached_property
    def instances(self) -> tuple[Instance, ...]:
        """What each rule of the program stands for."""
        return self.compiled.instances

    @cached_property
    def choices(self) -> Mapping[str, str]:
        """The choice of every setting, before a visit's own."""
        return self.site.choices(self.settings)

    @cached_property
    def variables_of(self) -> Mapping[str, tuple[tuple[int, Entry], ...]]:
        """For each subject, its variables."""
        out: dict[str, list[tuple[int, Entry]]] = {}
        for var, entry in enumerate(self.table.entries):
            out.setdefault(entry.view.subject, []).append((var, entry))
        return {name: tuple(found) for name, found in out.items()}

    @cached_property
    def known_variables(self) -> frozenset[int]:
        """The variables that are known at every visit, or nearly so: settings, age, sex."""
        times = {var for var, _ in self.time_measures}
        return frozenset(
            var
            for var, entry in enumerate(self.table.entries)
            if var in times or entry.view.subject == SEX or entry.view.subject.startswith("setting:")
        )

    @lru_cache(maxsize=100)  # noqa: B019 - a pack lives as long as the program that uses it
    def filling(self, choices: Choices) -> Filling:
        """Return what a visit fills under these settings."""
        return filling(self, choices)

    @cached_property
    def guarded(self) -> Mapping[Node, tuple[str, ...]]:
        """For each guard, the findings that stand under it."""
        out: dict[Node, list[str]] = {}
        for name, guard in self.compiled.guards.items():
            out.setdefault(guard, []).append(name)
        return {guard: tuple(names) for guard, names in out.items()}

    @cached_property
    def guard_flags(self) -> tuple[tuple[Callable[[Sequence[State]], int], tuple[tuple[int, Entry], ...]], ...]:
        """Each guard as a function to 1, 0 or -1 (not known), with the variables that stand under it."""
        full = self.program.unknown
        return tuple(
            (flag_of([guard], full), tuple(one for name in names for one in self.variables_of.get(name, ())))
            for guard, names in self.guarded.items()
        )

    @cached_property
    def concluding(self) -> Mapping[str, tuple[int, ...]]:
        """For each conclusion, the numbers of the rules that conclude it."""
        found: dict[str, list[int]] = {}
        for index, rule in enumerate(self.program.rules):
            for var in rule.concludes:
                found.setdefault(self.table.entries[var].view.subject, []).append(index)
        return {name: tuple(rules) for name, rules in found.items()}

    @cached_property
    def concluders(self) -> Mapping[str, tuple[CompiledRule, ...]]:
        """For each conclusion, the rules that conclude it."""
        return {name: tuple(self.program.rules[k] for k in numbers) for name, numbers in self.concluding.items()}

    @cached_property
    def conclusion_flags(self) -> Mapping[str, Callable[[Sequence[State]], int]]:
        """For each conclusion, what the rules that conclude it say of it: 1 yes, 0 no, -1 not known."""
        full = self.program.unknown
        return {
            name: flag_of([AllOf((r.applies, r.when)) for r in rules], full) for name, rules in self.concluders.items()
        }

    @cached_property
    def computed(self) -> Mapping[str, tuple[Compute, Mapping[str, Any]]]:
        """For each measure, how it is computed, and what the pack gives it."""
        return {name: (BINDINGS[m.compute].compute, dict(m.model_extra or {})) for name, m in self.measures.items()}

    @cached_property
    def finding_units(self) -> Mapping[str, str]:
        """For each finding that is a number, its unit."""
        return {name: shape.number.unit for name, shape in self.findings.items() if shape.number is not None}

    @cached_property
    def measure_units(self) -> Mapping[str, str | None]:
        """For each measure, the unit that its bounds are meant in."""
        return {name: self.subjects.measure_unit(name) for name in self.measures}

    @cached_property
    def time_measures(self) -> tuple[tuple[int, Entry], ...]:
        """The variables of measures that need no finding: the age."""
        names = [name for name, shape in self.measures.items() if not inputs_of(shape)]
        return tuple(found for name in names for found in self.variables_of.get(name, ()))

    @lru_cache(maxsize=10_000)  # noqa: B019 - as above
    def view_of(self, name: str) -> View:
        """Return the view that a dotted name in a measure means (`finding.1.hand`, `finding.left`)."""
        subject, *words = name.split(".")
        view = View(subject)
        for word in words:
            if word.isdigit():
                view = View(subject, view.side, int(word), view.part)
            elif word in ("left", "right"):
                view = View(subject, word, view.attempt, view.part)
            elif word == "earlier":
                view = View(subject, view.side, pick="earlier")
            else:
                view = View(subject, view.side, view.attempt, word)
        return view
