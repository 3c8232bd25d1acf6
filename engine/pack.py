"""A rule pack: loaded, checked, compiled; immutable and shared freely between threads.

`load_pack` reads the folder, gathers every mistake and raises them together as `PackError`; what it returns has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath
from typing import Any

from .assess import assess_visit
from .assessment import PRIORITIES, Answer, Assessment, Citation, Kind, Priority, Traced
from .binding import BINDINGS, Compute
from .cases import CaseReport, run_cases
from .compile import Instance
from .conditions import Node, State
from .decide import PROPOSING, highest_priority
from .due import DueRule, due_rules
from .echoes import without_echoes
from .errors import PackError
from .files import PackFolder, default_pack
from .model import (
    FindingsFile,
)
from .native import NativeReader
from .open_rules import OpenRules
from .pack_reader import PackParts, PackReader
from .program import CompiledRule, Program, Reader
from .proposals import Proposal, proposals
from .references import (
    inputs_of,
)
from .resolve import spans_rows
from .rete import ReteReader, rete_available
from .rule_checks import VERBS
from .site import read_site
from .subjects import SEX
from .views import Entry, VariableTable, View
from .visit import Visit
from .visit_reader import VisitReader


@dataclass(frozen=True, eq=False)
class Pack(PackParts):
    """A checked rule pack. Build it with `load_pack`; every attribute is read-only.

    ``findings``, ``measures``, ``settings``, ``sources``, ``targets`` are by name; ``areas`` are the findings files in
    exam order; ``instances[k]`` says what rule number k of ``program`` is.
    """

    _readers: dict[str, Reader] = field(default_factory=dict, repr=False)

    @property
    def id(self) -> str:
        """The pack's id."""
        return self.shape.id

    @property
    def version(self) -> str:
        """The pack's version."""
        return self.shape.version

    @property
    def program(self) -> Program:
        """The compiled rules."""
        return self.compiled.program

    @property
    def table(self) -> VariableTable:
        """The variables of the program, with their views and cut points."""
        return self.compiled.table

    @property
    def instances(self) -> tuple[Instance, ...]:
        """What each rule of the program stands for."""
        return self.compiled.instances

    @cached_property
    def variables_of(self) -> Mapping[str, tuple[tuple[int, Entry], ...]]:
        """For each subject, its variables."""
        out: dict[str, list[tuple[int, Entry]]] = {}
        for var, entry in enumerate(self.table.entries):
            out.setdefault(entry.view.subject, []).append((var, entry))
        return {name: tuple(found) for name, found in out.items()}

    @cached_property
    def latest_variables(self) -> Mapping[tuple[str, str], tuple[tuple[int, bool], ...]]:
        """For each finding and side, the variables that look at its latest value, and whether it has a guard."""
        out: dict[tuple[str, str], list[tuple[int, bool]]] = {}
        for var, entry in enumerate(self.table.entries):
            name, side = entry.view.subject, entry.view.side
            if name in self.findings and entry.view == View(name, side):
                out.setdefault((name, side), []).append((var, self.findings[name].applies_when is not None))
        return {place: tuple(found) for place, found in out.items()}

    @cached_property
    def other_variables(self) -> Mapping[str, tuple[tuple[int, Entry], ...]]:
        """For each finding, the variables that look at more than its latest value, lines apart."""
        latest = {var for found in self.latest_variables.values() for var, _ in found}
        return {
            name: rest
            for name, found in self.variables_of.items()
            if name in self.findings
            and (rest := tuple((var, e) for var, e in found if var not in latest and e.view.what != "beyond"))
        }

    @cached_property
    def line_variables(self) -> Mapping[str, tuple[tuple[int, Entry], ...]]:
        """For each finding, the variables that compare it with a line of treatment."""
        return {
            name: rest
            for name, found in self.variables_of.items()
            if (rest := tuple((var, e) for var, e in found if e.view.what == "beyond"))
        }

    @lru_cache(maxsize=100)  # noqa: B019 - a pack lives as long as the program that uses it
    def given_states(self, settings: tuple[tuple[str, str], ...], sex: str | None) -> tuple[State, ...]:
        """Return the states of a visit of which nothing is known but the choices in force and the sex."""
        states = self.program.unknown
        given = [(f"setting:{name}", choice) for name, choice in settings] + ([(SEX, sex)] if sex else [])
        for subject, value in given:
            for var, _ in self.variables_of.get(subject, ()):
                states[var] = self.table.values_mask(var, [value])
        return tuple(states)

    @cached_property
    def guarded(self) -> Mapping[Node, tuple[str, ...]]:
        """For each guard, the findings that stand under it."""
        out: dict[Node, list[str]] = {}
        for name, guard in self.compiled.guards.items():
            out.setdefault(guard, []).append(name)
        return {guard: tuple(names) for guard, names in out.items()}

    @cached_property
    def concluders(self) -> Mapping[str, tuple[CompiledRule, ...]]:
        """For each conclusion, the rules that conclude it."""
        out: dict[str, list[CompiledRule]] = {}
        for rule in self.program.rules:
            for var in rule.concludes:
                out.setdefault(self.table.entries[var].view.subject, []).append(rule)
        return {name: tuple(rules) for name, rules in out.items()}

    @cached_property
    def rule_priorities(self) -> tuple[Priority | None, ...]:
        """For each rule of the program, the highest priority that it can bring."""
        return tuple(highest_priority(instance.rule.shape) for instance in self.instances)

    @cached_property
    def computed(self) -> Mapping[str, tuple[Compute, Mapping[str, Any]]]:
        """For each measure, how it is computed, and what the pack gives it."""
        return {name: (BINDINGS[m.compute].compute, dict(m.model_extra or {})) for name, m in self.measures.items()}

    @cached_property
    def measure_units(self) -> Mapping[str, str | None]:
        """For each measure, the unit that its bounds are meant in."""
        return {name: self.subjects.measure_unit(name) for name in self.measures}

    @cached_property
    def time_measures(self) -> tuple[tuple[int, Entry], ...]:
        """The variables of measures that need no finding: the age."""
        names = [name for name, shape in self.measures.items() if not inputs_of(shape)]
        return tuple(found for name in names for found in self.variables_of.get(name, ()))

    @cached_property
    def finding_measures(self) -> tuple[tuple[int, Entry], ...]:
        """The variables of measures of findings; lines of treatment, and what depends on them, come last.

        A line may depend on a conclusion, and so on any other measure.
        """
        late: set[str] = set()
        names = [name for name, shape in self.measures.items() if inputs_of(shape)]
        for _ in names:
            late |= {
                n for n in names if self.measures[n].compute == "threshold" or late & {*inputs_of(self.measures[n])}
            }
        ordered = sorted(names, key=lambda name: name in late)
        return tuple(found for name in ordered for found in self.variables_of.get(name, ()))

    @cached_property
    def proposals(self) -> tuple[tuple[Proposal, ...], ...]:
        """What each rule of the program leads to."""
        return proposals(self.instances)

    @cached_property
    def due_rules(self) -> tuple[DueRule, ...]:
        """The rules that ask whether something is on record."""
        return due_rules(self.instances, self.proposals, self.findings)

    @cached_property
    def due_numbers(self) -> frozenset[int]:
        """The numbers of the rules that ask whether something is on record."""
        return frozenset(rule.index for rule in self.due_rules)

    @cached_property
    def row_spanning(self) -> frozenset[int]:
        """The numbers of the rules that span several rows of a table."""
        return frozenset(k for k, instance in enumerate(self.instances) if spans_rows(instance.rule))

    @lru_cache(maxsize=10_000)  # noqa: B019 - a pack lives as long as the program that uses it
    def citations(self, names: tuple[str, ...]) -> tuple[Citation, ...]:
        """Return sources for print."""
        found = [(name, self.sources[name]) for name in names]
        return tuple(Citation(id=name, text=s.text, kind=s.kind, issuer=s.issuer) for name, s in found)

    @cached_property
    def open_rules(self) -> OpenRules:
        """What each open rule waits for, remembered between visits."""
        return OpenRules(self.program)

    @cached_property
    def leads_to(self) -> Mapping[tuple[Kind, str], tuple[tuple[int, str, int], ...]]:
        """For each verb and target, the rules that lead to it: number, side, rank of the priority."""
        out: dict[tuple[Kind, str], list[tuple[int, str, int]]] = {}
        for index, instance in enumerate(self.instances):
            for consequence in instance.rule.shape.then:
                for verb in VERBS:
                    target = getattr(consequence, verb)
                    if target is not None:
                        rank = PRIORITIES.index(consequence.priority or "routine")
                        out.setdefault((verb, target), []).append((index, instance.side, rank))
        return {place: tuple(rules) for place, rules in out.items()}

    @cached_property
    def rule_order(self) -> Mapping[str, int]:
        """The place of each rule in the program."""
        return {instance.rule.shape.id: k for k, instance in enumerate(self.instances)}

    @cached_property
    def concluding(self) -> Mapping[str, tuple[int, ...]]:
        """For each conclusion, the numbers of the rules that conclude it."""
        found: dict[str, list[int]] = {}
        for index, rule in enumerate(self.program.rules):
            for var in rule.concludes:
                found.setdefault(self.table.entries[var].view.subject, []).append(index)
        return {name: tuple(rules) for name, rules in found.items()}

    @cached_property
    def answer_places(self) -> Mapping[tuple[Kind, str, str], tuple[tuple[int, int], ...]]:
        """For each verb, target and side whose answer is reported, the rules that lead to it, with their rank."""
        found: dict[tuple[Kind, str, str], list[tuple[int, int]]] = {}
        for (verb, target), leads in self.leads_to.items():
            for index, side, rank in leads if verb in PROPOSING else ():
                if self.instances[index].rule.shape.due is None:
                    found.setdefault((verb, target, side), []).append((index, rank))
        return {place: tuple(leads) for place, leads in found.items()}

    @lru_cache(maxsize=10_000)  # noqa: B019 - a pack lives as long as the program that uses it
    def answer(self, verb: Kind, target: str, side: str, fired: int | None, possible: int | None) -> Answer:
        """Return how far one target is settled, by the ranks of what fired and of what is possible."""
        ends = [None if rank is None else PRIORITIES[rank] for rank in (fired, possible)]
        label = self.targets[target].label
        return Answer(
            target=target, side=side or None, kind=verb, label=label, certain=ends[0], possible=ends[1],
            settled=fired == possible,
        )  # fmt: skip

    @lru_cache(maxsize=10_000)  # noqa: B019 - as above
    def ruled_out(self, index: int, *, not_applicable: bool) -> Traced:
        """Return the trace of a rule that was ruled out."""
        instance = self.instances[index]
        return Traced(
            rule=instance.key,
            title=instance.rule.shape.title,
            place=instance.rule.place,
            status="not applicable" if not_applicable else "ruled out",
            may_stay_undecided=instance.key in self.compiled.inexact,
        )

    @cached_property
    def area_of(self) -> Mapping[str, FindingsFile]:
        """The area of the examination in which each finding stands."""
        return {name: area for area in self.areas for name in area.findings}

    @cached_property
    def oldest_days(self) -> int:
        """The last day of life that the pack covers."""
        return int(self.shape.ages.to.split()[0])

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

    def readers(self, names: Iterable[str] | None = None) -> tuple[Reader, ...]:
        """Return the readers of the rules: `native`, and `rete` where durable-rules is installed.

        Raises ValueError for a reader that does not exist or cannot run here.
        """
        wanted = tuple(names) if names is not None else (("native", "rete") if rete_available() else ("native",))
        return tuple(self._reader(name) for name in wanted)

    def _reader(self, name: str) -> Reader:
        if name not in self._readers:
            if name == "native":
                self._readers[name] = NativeReader(self.program)
            elif name == "rete" and rete_available():
                self._readers[name] = ReteReader(self.program)
            else:
                raise ValueError(f"no reader '{name}' here; 'rete' needs durable-rules (Python below 3.13)")
        return self._readers[name]

    def read_visit(self, flat: Mapping[str, Any], at: str | None = None) -> Visit:
        """Check a flat visit (`schemas/visit.md`) against the pack; raises `InputError` with every mistake."""
        return self.visit_reader().read(flat, at)

    def visit_reader(self) -> VisitReader:
        """Return a fresh reader of flat visits."""
        return VisitReader(self.subjects, self.oldest_days, self.site.timezone)

    def assess(
        self, visit: Visit | Mapping[str, Any], at: str | None = None, readers: Iterable[str] | None = None
    ) -> Assessment:
        """Return what is owed to this newborn.

        Args:
            visit: a flat visit, or one that `read_visit` returned.
            at: the moment of the visit, ISO 8601 with offset, instead of the one in the visit.
            readers: names of the readers to use; by default all that can run here.

        Raises:
            InputError: the visit cannot be used; all mistakes at once.
            ReadersDisagree: two readers gave different answers; nothing is proposed.
        """
        return assess_visit(self, visit, at, readers)

    def run_cases(self) -> CaseReport:
        """Run the pack's worked cases; see `engine.cases`."""
        return run_cases(self)


def load_pack(path: str | FilePath | Traversable | None = None, site: str | FilePath | None = None) -> Pack:
    """Load and check a rule pack.

    Args:
        path: the pack's folder; the pack that ships with Layette where None.
        site: a site file (`schemas/site.schema.json`): settings, time zone, own tables.

    Raises:
        PackError: the pack or site file cannot be used; every mistake, with file, line and key.
    """
    if path is None and site is None:
        return default()
    return _load(path, site)


@lru_cache(maxsize=1)
def default() -> Pack:
    """Return the pack that ships with Layette, loaded once."""
    return _load(None, None)


def _load(path: str | FilePath | Traversable | None, site: str | FilePath | None) -> Pack:
    root = default_pack() if path is None else (FilePath(path) if isinstance(path, str) else path)
    folder = PackFolder(root)
    parts = PackReader(folder).load(read_site(site, folder.problems))
    if folder.problems or parts is None:
        raise PackError(without_echoes(folder.problems, folder.texts))
    return Pack(**vars(parts))
