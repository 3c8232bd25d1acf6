"""Reading the files of a pack in order, each entry in its shape; every mistake is gathered, none is raised."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from layette.engine.pack.written.folder import PackFolder, check_shape
from layette.engine.pack.written.row_rules import row_rules
from layette.engine.pack.written.rule_shapes import RuleShape, TargetShape
from layette.engine.pack.written.shape import Label, OrdersFile, OrderShape, ValuesFile
from layette.engine.pack.written.shapes import FindingsFile, MeasureShape, PackFile, SettingShape, SourceShape
from layette.engine.pack.written.subjects import SEX
from layette.engine.pack.written.translations import TranslationFile
from layette.engine.pack.written.written import Written
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.tables.load import Table, load_table


class PackReader:
    """Reads the files of one pack; each step adds its problems to the folder's."""

    def __init__(self, folder: PackFolder) -> None:
        """Read the pack in ``folder``."""
        self.folder = folder
        self.problems = folder.problems
        self._finding_documents: dict[str, Document] = {}
        self._target_documents: dict[str, Document] = {}
        self._row_rules: list[Written] = []

    def read(self) -> WrittenPack | None:
        """Return what the files hold in the right shape; None where `pack.yaml` itself cannot be used.

        The files are read in one order, since the digest of a pack follows it.
        """
        shape = self.folder.shaped("pack.yaml", PackFile)
        if shape is None:
            return None
        self.problems += self.folder.unlisted(shape)
        return WrittenPack(
            shape=shape,
            sources=self._named(shape.sources, SourceShape),
            settings=self._named(shape.settings, SettingShape),
            measures=self._named(shape.measures, MeasureShape),
            areas=tuple(self._areas(shape.findings)),
            targets=self._targets(shape.targets),
            tables=dict(self._tables(shape.tables)),
            rules=tuple(self._all_rules(shape)),
            documents=self.folder.documents,
            finding_documents=self._finding_documents,
            target_documents=self._target_documents,
            value_labels=self._value_labels(shape.values),
            translations=dict(self._translations(shape.translations)),
            orders=self._orders(shape.orders),
        )

    def _value_labels(self, file: str | None) -> Mapping[str, Label]:
        document = None if file is None else self._listed(file)
        made = None if document is None else check_shape(document, document.data, (), ValuesFile, self.problems)
        return {} if made is None else made.labels

    def _orders(self, file: str | None) -> Mapping[str, OrderShape]:
        document = None if file is None else self._listed(file)
        made = None if document is None else check_shape(document, document.data, (), OrdersFile, self.problems)
        return {} if made is None else made.orders

    def _named(self, file: str, shape: type[Any]) -> dict[str, Any]:
        document = self.folder.document(file)
        return {} if document is None else dict(self._entries(document, shape))

    def _entries(self, document: Document, shape: type[Any]) -> Iterator[tuple[str, Any]]:
        if not isinstance(document.data, Mapping):
            self.problems.append(document.problem((), "shape", "this is a mapping by name"))
            return
        for name, entry in document.data.items():
            made = check_shape(document, entry, (name,), shape, self.problems)
            if made is not None:
                yield name, made

    def _listed(self, name: str) -> Document | None:
        """Return a file that `pack.yaml` lists; without content it is a mistake, since what it held would be gone."""
        document = self.folder.document(name)
        if document is not None and document.data in (None, [], {}):
            message = "this file is listed and holds nothing; fill it, or delete it and take it off the list"
            self.problems.append(document.problem((), "shape", message))
            return None
        return document

    def _areas(self, files: Iterable[str]) -> Iterator[FindingsFile]:
        for file in files:
            document = self._listed(f"findings/{file}")
            if document is None:
                continue
            area = check_shape(document, document.data, (), FindingsFile, self.problems)
            if area is None:
                continue
            if area.area != file.removesuffix(".yaml"):
                message = f"the area '{area.area}' is not the file's name"
                self.problems.append(document.problem(("area",), "id-file", message))
            for name in area.findings:
                if name in self._finding_documents or name == SEX:
                    message = f"the finding '{name}' is defined twice"
                    self.problems.append(document.problem(("findings", name), "duplicate-id", message))
                self._finding_documents.setdefault(name, document)
            yield area

    def _targets(self, files: Iterable[str]) -> dict[str, TargetShape]:
        targets: dict[str, TargetShape] = {}
        for file in files:
            document = self._listed(f"targets/{file}")
            if document is None:
                continue
            for name, target in self._entries(document, TargetShape):
                if name in targets:
                    message = f"the target '{name}' is defined twice"
                    self.problems.append(document.problem((name,), "duplicate-id", message))
                self._target_documents.setdefault(name, document)
                targets.setdefault(name, target)
        return targets

    def _translations(self, files: Iterable[str]) -> Iterator[tuple[str, TranslationFile]]:
        for file in files:
            document = self._listed(f"translations/{file}")
            if document is not None:
                made = check_shape(document, document.data, (), TranslationFile, self.problems)
                if made is not None:
                    yield f"translations/{file}", made

    def _tables(self, files: Iterable[str]) -> Iterator[tuple[str, Table]]:
        for file in files:
            document = self._listed(f"tables/{file}")
            name = file.removesuffix(".yaml")
            text = self.folder.text(f"tables/{name}.csv")
            if document is None or text is None:
                continue
            if isinstance(document.data, Mapping) and document.data.get("kind") == "rows":
                self._row_rules += row_rules(document, text, self.problems)
                continue
            table, problems = load_table(document.data, text, f"tables/{name}.csv")
            self.problems += problems
            if table is not None:
                yield name, table

    def _all_rules(self, shape: PackFile) -> Iterator[Written]:
        yield from self._rules("decisions", shape.decisions)
        yield from self._row_rules
        yield from self._rules("guidance", shape.guidance)

    def _rules(self, kind: str, files: Iterable[str]) -> Iterator[Written]:
        for file in files:
            document = self._listed(f"{kind}/{file}")
            if document is None:
                continue
            if not isinstance(document.data, list):
                self.problems.append(document.problem((), "shape", "this file is a list of rules"))
                continue
            for k, entry in enumerate(document.data):
                made = check_shape(document, entry, (k,), RuleShape, self.problems)
                if made is not None:
                    yield Written(made, document, (k,), f"{kind}/{file}")
