"""What the variables of a pack look at, laid out once, so that a visit is turned into states by look-ups."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, NamedTuple

from layette.engine.logic.conditions import AllOf, Node, State
from layette.engine.logic.native import flag_of
from layette.engine.logic.program import CompiledRule
from layette.engine.measures.input_kinds import BIRTH, Pair
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.subjects import SEX, inputs_of
from layette.engine.pack.written.views import Entry, View
from layette.engine.states.asked import Asked
from layette.engine.states.inputs import Compute
from layette.engine.states.measure_text import needed as keys_needed
from layette.engine.states.measures import BINDINGS
from layette.engine.visit.recordings import Where

Choices = tuple[tuple[str, str], ...]
"""The settings in force: name and choice."""
MOST_CHOICES = 100
"""How many combinations of settings are remembered; a site uses one, the visits of a cohort a few."""


class Numbered(NamedTuple):
    """A variable with its number."""

    var: int
    entry: Entry


@dataclass(frozen=True, slots=True)
class Filling:
    """What a visit fills under given settings: the variables that a rule may still ask for, by what fills them.

    ``states`` are those of a visit of which nothing else is known. ``latest`` are the variables that look at the latest
    value of a finding and side; ``others`` look further (``by_time``: in two, see `_by_time`), ``lines`` compare with a
    line of treatment, each by finding.
    ``measures`` come in the order in which they are computed. ``remembered`` is what `Facts` found in ``others``,
    ``computed`` the measures by how often what they need was recorded.
    """

    states: tuple[State, ...]
    latest: Mapping[Where, tuple[int, ...]]
    others: Mapping[str, tuple[Numbered, ...]]
    by_time: Mapping[str, tuple[tuple[Numbered, ...], tuple[Numbered, ...]]]
    lines: Mapping[str, tuple[Numbered, ...]]
    measures: tuple[Numbered, ...]
    remembered: dict[Hashable, tuple[tuple[int, State], ...]] = field(default_factory=dict)
    computed: dict[tuple[int, ...], tuple[Numbered, ...]] = field(default_factory=dict)

    def with_enough(
        self, often: Mapping[str, int], needs: Mapping[str, tuple[tuple[str, int], ...]]
    ) -> tuple[Numbered, ...]:
        """Return the measures whose findings were recorded as ``often`` as each ``needs``."""
        return tuple(
            one
            for one in self.measures
            if all(often.get(name, 0) >= times for name, times in needs[one.entry.view.subject])
        )


class StatesPlan:
    """The variables of a pack by what they look at; immutable but for what it remembers, and that dies with it."""

    def __init__(self, pack: CompiledPack, *, everything: bool = False) -> None:
        """Lay out ``pack``; ``everything`` fills all variables, also those that no rule asks for."""
        self.pack = pack
        self._everything = everything
        self._fillings: dict[Choices, Filling] = {}
        self._views: dict[str, View] = {}

    def filling(self, choices: Choices) -> Filling:
        """Return what a visit fills under these settings."""
        known = self._fillings.get(choices)
        if known is None:
            if len(self._fillings) >= MOST_CHOICES:
                self._fillings.clear()
            known = self._fillings[choices] = self._filling(choices)
        return known

    def _filling(self, choices: Choices) -> Filling:
        states = tuple(self._given(choices))
        asked = frozenset(range(len(states))) if self._everything else self._asked.under(states)
        plain = {var for variables_here in self.latest.values() for var in variables_here}
        others = self._by_finding(lambda var, view: var in asked and var not in plain and view.what != "beyond")
        return Filling(
            states,
            self.latest,
            others,
            {name: _by_time(several) for name, several in others.items()},
            self._by_finding(lambda var, view: var in asked and view.what == "beyond"),
            tuple(
                one for name in self.measures_in_order for one in self.variables_of.get(name, ()) if one.var in asked
            ),
        )

    def _given(self, choices: Choices) -> list[State]:
        states = self.pack.program.unknown
        for name, choice in choices:
            for var, _ in self.variables_of.get(f"setting:{name}", ()):
                states[var] = self.pack.table.values_mask(var, [choice])
        return states

    @cached_property
    def _asked(self) -> Asked:
        """The variables in rules, by the choices in force, and in guards of findings."""
        settings = (var for name in self.pack.settings for var, _ in self.variables_of.get(f"setting:{name}", ()))
        return Asked(self.pack.program, settings, self.guarded)

    def _by_finding(self, wanted: Callable[[int, View], bool]) -> Mapping[str, tuple[Numbered, ...]]:
        by_finding = {}
        for name in self.pack.findings:
            looks = tuple(one for one in self.variables_of.get(name, ()) if wanted(one.var, one.entry.view))
            if looks:
                by_finding[name] = looks
        return by_finding

    @cached_property
    def choices(self) -> Mapping[str, str]:
        """The choice of every setting, before a visit's own."""
        return self.pack.site.choices(self.pack.settings)

    @cached_property
    def variables_of(self) -> Mapping[str, tuple[Numbered, ...]]:
        """For each subject, its variables."""
        by_subject: dict[str, list[Numbered]] = {}
        for var, entry in enumerate(self.pack.table.entries):
            by_subject.setdefault(entry.view.subject, []).append(Numbered(var, entry))
        return {name: tuple(numbered) for name, numbered in by_subject.items()}

    @cached_property
    def latest(self) -> Mapping[Where, tuple[int, ...]]:
        """For each finding and side, the variables that look at its latest value."""
        by_place: dict[Where, list[int]] = {}
        for var, entry in enumerate(self.pack.table.entries):
            name, side = entry.view.subject, entry.view.side
            if name in self.pack.findings and entry.view == View(name, side):
                by_place.setdefault((name, side), []).append(var)
        return {place: tuple(numbers) for place, numbers in by_place.items()}

    @cached_property
    def known_variables(self) -> frozenset[int]:
        """The variables that are known at every visit, or nearly so: settings, age, sex."""
        times = {var for var, _ in self.time_measures}
        return frozenset(
            var
            for var, entry in enumerate(self.pack.table.entries)
            if var in times or entry.view.subject == SEX or entry.view.subject.startswith("setting:")
        )

    @cached_property
    def guarded(self) -> Mapping[Node, tuple[str, ...]]:
        """For each guard, the findings that stand under it."""
        by_guard: dict[Node, list[str]] = {}
        for name, guard in self.pack.guards.items():
            by_guard.setdefault(guard, []).append(name)
        return {guard: tuple(names) for guard, names in by_guard.items()}

    @cached_property
    def guard_flags(self) -> tuple[tuple[Callable[[Sequence[State]], int], tuple[Numbered, ...]], ...]:
        """Each guard as a function to 1, 0 or -1 (not known), with the variables that stand under it."""
        full = self.pack.program.unknown
        return tuple(
            (flag_of([guard], full), tuple(one for name in names for one in self.variables_of.get(name, ())))
            for guard, names in self.guarded.items()
        )

    @cached_property
    def concluding(self) -> Mapping[str, tuple[int, ...]]:
        """For each conclusion, the numbers of the rules that conclude it."""
        by_conclusion: dict[str, list[int]] = {}
        for index, rule in enumerate(self.pack.program.rules):
            for var in rule.concludes:
                by_conclusion.setdefault(self.pack.table.entries[var].view.subject, []).append(index)
        return {name: tuple(numbers) for name, numbers in by_conclusion.items()}

    @cached_property
    def concluders(self) -> Mapping[str, tuple[CompiledRule, ...]]:
        """For each conclusion, the rules that conclude it."""
        rules = self.pack.program.rules
        return {name: tuple(rules[k] for k in numbers) for name, numbers in self.concluding.items()}

    @cached_property
    def conclusion_flags(self) -> Mapping[str, Callable[[Sequence[State]], int]]:
        """For each conclusion, what the rules that conclude it say of it: 1 yes, 0 no, -1 not known."""
        full = self.pack.program.unknown
        return {
            name: flag_of([AllOf((r.applies, r.when)) for r in rules], full) for name, rules in self.concluders.items()
        }

    @cached_property
    def computed(self) -> Mapping[str, tuple[Compute, Mapping[str, Any]]]:
        """For each measure, how it is computed, and what the pack gives it."""
        measures = self.pack.measures
        return {name: (BINDINGS[m.compute].compute, dict(m.model_extra or {})) for name, m in measures.items()}

    @cached_property
    def needed(self) -> tuple[str, ...]:
        """The findings without which nothing is known of some measure."""
        return tuple(dict.fromkeys(name for several in self.needs.values() for name, _ in several))

    @cached_property
    def needs(self) -> Mapping[str, tuple[tuple[str, int], ...]]:
        """For each measure, the findings, with a number of recordings each, without which nothing is known of it."""
        return {name: tuple(self._needs(name, ()).items()) for name in self.pack.measures}

    def _needs(self, name: str, within: tuple[str, ...]) -> dict[str, int]:
        shape = self.pack.measures[name]
        declared, written = BINDINGS[shape.compute].declared, dict(shape.model_extra or {})
        found: dict[str, int] = {}
        if declared.gives == "category" or name in within:  # of a category, what does not apply is known anyway
            return found
        for pair in declared.of_kind(Pair):
            since_birth = written.get("since") == BIRTH
            found[written[pair.of]] = 1 if since_birth else 2
        for key in keys_needed(declared):
            subject = self.view_of(written[key]).subject
            of_it = self._needs(subject, (*within, name)) if subject in self.pack.measures else {subject: 1}
            found |= {one: max(number, found.get(one, 0)) for one, number in of_it.items()}
        return found

    @cached_property
    def finding_units(self) -> Mapping[str, str]:
        """For each finding that is a number, its unit."""
        findings = self.pack.findings
        return {name: shape.number.unit for name, shape in findings.items() if shape.number is not None}

    @cached_property
    def measure_units(self) -> Mapping[str, str | None]:
        """For each measure, the unit that its bounds are meant in."""
        return {name: self.pack.subjects.measure_unit(name) for name in self.pack.measures}

    @cached_property
    def time_measures(self) -> tuple[Numbered, ...]:
        """The variables of measures that need no finding: the age."""
        names = [name for name, shape in self.pack.measures.items() if not inputs_of(shape)]
        return tuple(numbered for name in names for numbered in self.variables_of.get(name, ()))

    @cached_property
    def measures_in_order(self) -> tuple[str, ...]:
        """The measures of findings; lines of treatment, and what depends on them, come last.

        A line may depend on a conclusion, and so on any other measure.
        """
        late: set[str] = set()
        measures = self.pack.measures
        names = [name for name, shape in measures.items() if inputs_of(shape)]
        for _ in names:
            late |= {n for n in names if measures[n].compute == "threshold" or late & {*inputs_of(measures[n])}}
        return tuple(sorted(names, key=lambda name: name in late))

    def view_of(self, name: str) -> View:
        """Return the view that a dotted name in a measure means (`finding.1.hand`, `finding.left`)."""
        view = self._views.get(name)
        if view is None:
            subject, *words = name.split(".")
            view = self._views[name] = _view(subject, words)
        return view


def _by_time(several: Iterable[Numbered]) -> tuple[tuple[Numbered, ...], tuple[Numbered, ...]]:
    """Return the variables that the words and numbers of a visit's moment decide, and those that also ask when.

    Of numbers that is the highest and the lowest alone: whoever watches others (`cohort.values`) is to see them.
    """
    steady, timed = [], []  # type: list[Numbered], list[Numbered]
    for one in several:
        view = one.entry.view
        number = one.entry.kind == "number"
        extreme = view.what == "value" and view.pick in ("highest", "lowest") and not view.qualifier
        (timed if view.what in ("age", "since") or (number and not extreme) else steady).append(one)
    return tuple(steady), tuple(timed)


def _view(subject: str, words: Iterable[str]) -> View:
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
