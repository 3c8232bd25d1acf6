"""Reading a pack: its files in order, its names, its rules; every mistake is gathered, none is raised."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath
from typing import Any

from layette.engine.measures import REGISTRY
from layette.engine.pack.checks.measures import check_measure_inputs, check_measures
from layette.engine.pack.checks.names import (
    check_conclusions,
    check_findings,
    check_guards,
    check_normals,
    check_pack,
    check_rule,
    check_settings,
)
from layette.engine.pack.compile import Compiled, compile_rules
from layette.engine.pack.site import Site, apply_site, check_tables
from layette.engine.pack.written.folder import PackFolder, check_shape
from layette.engine.pack.written.row_rules import row_rules
from layette.engine.pack.written.rule_shapes import RuleShape, TargetShape
from layette.engine.pack.written.shapes import (
    FindingsFile,
    FindingShape,
    MeasureShape,
    PackFile,
    SettingShape,
    SourceShape,
    listed,
)
from layette.engine.pack.written.site_codes import check_codes
from layette.engine.pack.written.subjects import SEX, Subjects
from layette.engine.pack.written.written import Written
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.tables.load import Table, load_table


@dataclass(frozen=True, eq=False)
class PackParts:
    """What a pack is made of; see `engine.pack.Pack`."""

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


class PackReader:
    """Reads the files of a pack in order; each step adds its problems to the folder's."""

    def __init__(self, folder: PackFolder) -> None:
        """Read the pack in ``folder``."""
        self.folder = folder
        self.problems = folder.problems
        self.finding_documents: dict[str, Document] = {}
        self.target_documents: dict[str, Document] = {}
        self.row_rules: list[Written] = []

    def load(self, site: Site) -> PackParts | None:
        """Return the parts of a sound pack; None, with the problems in the folder, of any other."""
        shape = self.folder.shaped("pack.yaml", PackFile)
        if shape is None:
            return None
        self.problems += self.folder.unlisted(shape)
        sources = self._named(shape.sources, SourceShape)
        settings = self._named(shape.settings, SettingShape)
        measures = self._named(shape.measures, MeasureShape)
        areas = tuple(self._areas(shape.findings))
        findings: dict[str, FindingShape] = {}
        for area in areas:  # of two by one name the first counts, which is also where problems are shown
            findings |= area.findings | findings
        targets = self._targets(shape.targets)
        tables = dict(self._tables(shape.tables))
        site = check_tables(site, tables, self.problems)
        check_codes(site.codes, findings, self.problems)
        tables = {**site.tables, **tables}
        written = [
            *self._rules("decisions", shape.decisions),
            *self.row_rules,
            *self._rules("guidance", shape.guidance),
        ]
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
        return PackParts(shape, site, digest, findings, areas, measures, settings, sources, targets, rules, tables,
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
            if isinstance(document.data, Mapping) and document.data.get("kind") == "rows":
                self.row_rules += row_rules(document, text, self.problems)
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
            if measure.compute in REGISTRY and REGISTRY[measure.compute].gives == "category" and table is not None:
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
