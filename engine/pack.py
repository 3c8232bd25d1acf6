"""A rule pack: loaded, checked, compiled; immutable and shared freely between threads.

`load_pack` reads the folder, gathers every mistake and raises them together as `PackError`; what it returns has none.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath
from typing import Any

from .assess import assess_visit
from .assessment import PRIORITIES, Answer, Assessment, Citation, Kind, Priority, Traced
from .cases import CaseReport, run_cases
from .compile import Compiled, Instance, Written, compile_rules
from .conditions import Node, State
from .decide import PROPOSING, highest_priority
from .echoes import without_echoes
from .errors import PackError
from .files import PackFolder, check_shape, default_pack
from .measure_checks import check_measure_inputs
from .model import (
    FindingsFile,
    FindingShape,
    MeasureShape,
    PackFile,
    RuleShape,
    SettingShape,
    SourceShape,
    TargetShape,
)
from .native import NativeReader
from .open_rules import OpenRules
from .program import CompiledRule, Program, Reader
from .references import (
    check_conclusions,
    check_findings,
    check_guards,
    check_measures,
    check_normals,
    check_pack,
    check_rule,
    check_settings,
    inputs_of,
    listed,
)
from .rete import ReteReader, rete_available
from .rule_checks import VERBS
from .site import Site, apply_site, check_tables, read_site
from .subjects import SEX, Subjects
from .tables import Table, load_table
from .views import Entry, VariableTable, View
from .visit import Visit, VisitReader
from .yaml_nodes import Document


@dataclass(frozen=True, eq=False)
class Pack:
    """A checked rule pack. Build it with `load_pack`; every attribute is read-only.

    ``findings``, ``measures``, ``settings``, ``sources``, ``targets`` are by name; ``areas`` are the findings files in
    exam order; ``instances[k]`` says what rule number k of ``program`` is.
    """

    shape: PackFile
    site: Site
    digest: str
    findings: Mapping[str, FindingShape]
    areas: tuple[FindingsFile, ...]
    measures: Mapping[str, MeasureShape]
    settings: Mapping[str, SettingShape]
    sources: Mapping[str, SourceShape]
    targets: Mapping[str, TargetShape]
    rules: Mapping[str, Written]
    tables: Mapping[str, Table]
    subjects: Subjects
    compiled: Compiled
    set_guards: Mapping[str, tuple[str, tuple[str, ...]]]
    folder: Traversable | FilePath
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
    def unknown(self) -> tuple[State, ...]:
        """The states of a visit of which nothing is known."""
        return tuple(self.program.unknown)

    @cached_property
    def variables_of(self) -> Mapping[str, tuple[tuple[int, Entry], ...]]:
        """For each subject, its variables."""
        out: dict[str, list[tuple[int, Entry]]] = {}
        for var, entry in enumerate(self.table.entries):
            out.setdefault(entry.view.subject, []).append((var, entry))
        return {name: tuple(found) for name, found in out.items()}

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
    def time_measures(self) -> tuple[str, ...]:
        """The measures that need no finding: the age."""
        return tuple(name for name, shape in self.measures.items() if not inputs_of(shape))

    @cached_property
    def finding_measures(self) -> tuple[str, ...]:
        """The measures that are computed from findings; lines of treatment, and what depends on them, come last.

        A line may depend on a conclusion, and so on any other measure.
        """
        late: set[str] = set()
        names = [name for name, shape in self.measures.items() if inputs_of(shape)]
        for _ in names:
            late |= {
                n for n in names if self.measures[n].compute == "threshold" or late & {*inputs_of(self.measures[n])}
            }
        return tuple(sorted(names, key=lambda name: name in late))

    @cached_property
    def due_rules(self) -> tuple[int, ...]:
        """The numbers of the rules that ask whether something is on record."""
        return tuple(k for k, instance in enumerate(self.instances) if instance.rule.shape.due is not None)

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

    def view_of(self, name: str) -> View:
        """Return the view that a dotted name in a measure means (`finding.1.hand`, `finding.left`)."""
        subject, *words = name.split(".")
        view = View(subject)
        for word in words:
            if word.isdigit():
                view = View(subject, view.side, int(word), view.part)
            elif word in ("left", "right"):
                view = View(subject, word, view.attempt, view.part)
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
    loader = _Loader(folder)
    pack = loader.load(read_site(site, folder.problems))
    if folder.problems or pack is None:
        raise PackError(without_echoes(folder.problems, folder.texts))
    return pack


class _Loader:
    """Reads the files of a pack in order; each step adds its problems to the folder's."""

    def __init__(self, folder: PackFolder) -> None:
        self.folder = folder
        self.problems = folder.problems
        self.finding_documents: dict[str, Document] = {}
        self.target_documents: dict[str, Document] = {}

    def load(self, site: Site) -> Pack | None:
        shape = self.folder.shaped("pack.yaml", PackFile)
        if shape is None:
            return None
        self.problems += self.folder.unlisted(shape)
        sources = self._named(shape.sources, SourceShape)
        settings = self._named(shape.settings, SettingShape)
        measures = self._named(shape.measures, MeasureShape)
        areas = tuple(self._areas(shape.findings))
        findings = {name: finding for area in areas for name, finding in area.findings.items()}
        targets = self._targets(shape.targets)
        tables = dict(self._tables(shape.tables))
        site = check_tables(site, tables, self.problems)
        tables = {**site.tables, **tables}
        written = self._rules("decisions", shape.decisions) + self._rules("guidance", shape.guidance)
        written = apply_site(written, site, self.problems)
        digest = site.digest_with(self.folder.digest)
        self._check(shape, sources, settings, measures, findings, targets, tables, written)
        settings = site.with_settings(settings, self.problems)
        self.problems += check_normals(areas, findings, self.finding_documents)
        subjects = self._subjects(areas, findings, measures, settings, written, tables)
        set_guards = self._set_guards(written, measures, settings, sources)
        if self.problems:
            # names that are wrong would only cause follow-up errors in conditions that name them rightly
            compiled = compile_rules(written, subjects, {})
            self.problems += compiled.problems
            return None
        compiled = compile_rules(written, subjects, set_guards)
        self.problems += compiled.problems
        rules = {rule.shape.id: rule for rule in written}
        return Pack(shape, site, digest, findings, areas, measures, settings, sources, targets, rules, tables,
                    subjects, compiled, set_guards, self.folder.root)  # fmt: skip

    def _named(self, file: str, shape: type[Any]) -> dict[str, Any]:
        document = self.folder.document(file)
        return {} if document is None else dict(self._entries(document, document.data, (), shape))

    def _entries(
        self, document: Document, data: Any, base: tuple[str, ...], shape: type[Any]
    ) -> Iterator[tuple[str, Any]]:
        if not isinstance(data, Mapping):
            self.problems.append(document.problem(base, "shape", "this is a mapping by name"))
            return
        for name, entry in data.items():
            made = check_shape(document, entry, (*base, name), shape, self.problems)
            if made is not None:
                yield name, made

    def _areas(self, files: Iterable[str]) -> Iterator[FindingsFile]:
        for file in files:
            area = self.folder.shaped(f"findings/{file}", FindingsFile)
            document = self.folder.documents.get(f"findings/{file}")
            if area is None or document is None:
                continue
            if area.area != file.removesuffix(".yaml"):
                self.problems.append(
                    document.problem(("area",), "id-file", f"the area '{area.area}' is not the file's name")
                )
            for name in area.findings:
                if name in self.finding_documents or name == SEX:
                    self.problems.append(
                        document.problem(("findings", name), "duplicate-id", f"the finding '{name}' is defined twice")
                    )
                self.finding_documents.setdefault(name, document)
            yield area

    def _targets(self, files: Iterable[str]) -> dict[str, TargetShape]:
        out: dict[str, TargetShape] = {}
        for file in files:
            document = self.folder.document(f"targets/{file}")
            if document is None:
                continue
            for name, target in self._entries(document, document.data, (), TargetShape):
                if name in out:
                    self.problems.append(
                        document.problem((name,), "duplicate-id", f"the target '{name}' is defined twice")
                    )
                self.target_documents.setdefault(name, document)
                out.setdefault(name, target)
        return out

    def _tables(self, files: Iterable[str]) -> Iterator[tuple[str, Table]]:
        for file in files:
            document = self.folder.document(f"tables/{file}")
            name = file.removesuffix(".yaml")
            text = self.folder.text(f"tables/{name}.csv")
            if document is None or text is None:
                continue
            table, problems = load_table(document.data, text, f"tables/{name}.csv")
            self.problems += problems
            if table is not None:
                yield name, table

    def _rules(self, kind: str, files: Iterable[str]) -> list[Written]:
        out: list[Written] = []
        for file in files:
            document = self.folder.document(f"{kind}/{file}")
            if document is None or document.data is None:
                continue
            if not isinstance(document.data, list):
                self.problems.append(document.problem((), "shape", "this file is a list of rules"))
                continue
            for k, entry in enumerate(document.data):
                made = check_shape(document, entry, (k,), RuleShape, self.problems)
                if made is not None:
                    out.append(Written(made, document, (k,), f"{kind}/{file}"))
        return out

    def _check(
        self,
        shape: PackFile,
        sources: Mapping[str, SourceShape],
        settings: Mapping[str, SettingShape],
        measures: Mapping[str, MeasureShape],
        findings: Mapping[str, FindingShape],
        targets: Mapping[str, TargetShape],
        tables: Mapping[str, Table],
        written: list[Written],
    ) -> None:
        documents = self.folder.documents
        self.problems += check_pack(shape, documents["pack.yaml"], findings, targets, self.target_documents)
        self.problems += check_findings(findings, self.finding_documents)
        self.problems += check_guards(findings, measures, self.finding_documents)
        if shape.settings in documents:
            self.problems += check_settings(settings, documents[shape.settings], sources)
        if shape.measures in documents:
            known = {*findings, *(c.conclude for rule in written for c in rule.shape.then if c.conclude)}
            self.problems += check_measures(measures, documents[shape.measures], known, tables)
            place = documents[shape.measures]
            self.problems += check_measure_inputs(measures, place, findings, settings, sources, tables)
        seen: dict[str, Written] = {}
        conclusions = {c.conclude for rule in written for c in rule.shape.then if c.conclude}
        for rule in written:
            self.problems += check_rule(rule, sources, targets, findings)
            if rule.shape.id in seen:
                where = seen[rule.shape.id].place
                self.problems.append(
                    rule.document.problem(
                        (*rule.path, "id"), "duplicate-id", f"'{rule.shape.id}' stands already at {where}"
                    )
                )
            seen.setdefault(rule.shape.id, rule)
            self.problems += check_conclusions(rule, {*findings, *measures, SEX}, conclusions)

    def _subjects(
        self,
        areas: Iterable[FindingsFile],
        findings: Mapping[str, FindingShape],
        measures: Mapping[str, MeasureShape],
        settings: Mapping[str, SettingShape],
        written: Iterable[Written],
        tables: Mapping[str, Table],
    ) -> Subjects:
        conclusions = frozenset(c.conclude for rule in written for c in rule.shape.then if c.conclude)
        bands = {}
        for name, measure in measures.items():
            table = tables.get(str((measure.model_extra or {}).get("table")))
            if measure.compute == "size_for_gestation" and table is not None:
                bands[name] = tuple(getattr(table, "bands", ()))
        normals = {name: normal for area in areas for name, normal in area.normal.items()}
        return Subjects(findings, measures, settings, conclusions, bands, self.finding_documents, normals)

    def _set_guards(
        self,
        written: Iterable[Written],
        measures: Mapping[str, MeasureShape],
        settings: Mapping[str, SettingShape],
        sources: Mapping[str, SourceShape],
    ) -> dict[str, tuple[str, tuple[str, ...]]]:
        """A rule of one issuer is never read on another issuer's thresholds."""
        out = {}
        for rule in written:
            lines = set(_lines(rule.shape.when)) | set(_lines(rule.shape.unless))
            names = {str((measures[line].model_extra or {}).get("set")) for line in lines if line in measures}
            for setting in names & settings.keys():
                mine = {sources[s].issuer for s in listed(rule.shape.source) if s in sources}
                choices = tuple(
                    choice
                    for choice, shape in settings[setting].choices.items()
                    if mine & {sources[s].issuer for s in listed(shape.source) if s in sources} - {None}
                )
                if not choices:
                    message = f"no threshold set of '{setting}' is of this rule's issuer"
                    self.problems.append(rule.document.problem(rule.path, "threshold-set", message))
                out[rule.shape.id] = (setting, choices)
        return out


def _lines(written: Any) -> Iterator[str]:
    if isinstance(written, Mapping):
        if "beyond" in written:
            yield str(written["beyond"])
        for value in written.values():
            yield from _lines(value)
    elif isinstance(written, list):
        for value in written:
            yield from _lines(value)
