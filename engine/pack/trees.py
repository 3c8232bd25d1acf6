"""The conditions of all rules and findings as trees: as they are written, with sides and threshold sets expanded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from layette.engine.errors import PackProblem
from layette.engine.logic.conditions import AllOf, Node
from layette.engine.pack.grammar.conditions import Grammar
from layette.engine.pack.grammar.scope import HOLDS, Report
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.written import Instance, SetGuards
from layette.engine.pack.written.yaml_nodes import Document, Path


@dataclass(frozen=True, slots=True)
class Trees:
    """The trees of one instance, as authored."""

    applies: Node
    when: Node
    unless: Node | None

    @property
    def whole(self) -> Node:
        """`applies and when`."""
        return AllOf((self.applies, self.when))


@dataclass(frozen=True, slots=True)
class TreeReader:
    """Reads conditions into trees over the variables of ``table``; every mistake goes to the problems given."""

    subjects: Subjects
    set_guards: SetGuards
    table: VariableTable

    def read(self, instances: Sequence[Instance], problems: list[PackProblem]) -> tuple[list[Trees], dict[str, Node]]:
        """Return the trees of all instances, and for each finding with `applies_when` its guard.

        Every conclusion gets its variable, whether or not some rule tests it.
        """
        trees = [self._trees(instance, problems) for instance in instances]
        guards = dict[str, Node]()
        for name, shape in self.subjects.findings.items():
            if shape.applies_when is not None:
                grammar = self._grammar(self.subjects.document_of(name), (), problems)
                guards[name] = grammar.condition(shape.applies_when, ("findings", name, "applies_when"))
        for name in sorted(self.subjects.conclusions):
            self._grammar(None, (), problems).condition({name: True}, ())
        return trees, guards

    def _trees(self, instance: Instance, problems: list[PackProblem]) -> Trees:
        shape, document, path = instance.rule.shape, instance.rule.document, instance.rule.path
        grammar = self._grammar(document, path, problems)

        def tree(key: str, written: Any) -> Node:
            return HOLDS if written is None else grammar.condition(written, (key,), instance.side)

        applies = tree("applies_when", shape.applies_when)
        if shape.id in self.set_guards:
            setting, choices = self.set_guards[shape.id]
            applies = AllOf((applies, grammar.setting_is(setting, choices)))
        if shape.when is None and shape.due is None:
            problems.append(document.problem(path, "condition-empty", "a rule needs a 'when' (or is a 'due' rule)"))
        when = tree("when", shape.when)
        return Trees(applies, when, None if shape.unless is None else tree("unless", shape.unless))

    def _grammar(self, document: Document | None, base: Path, problems: list[PackProblem]) -> Grammar:
        return Grammar(self.subjects, self.table, _reporter(document, base, problems))


def _reporter(document: Document | None, base: Path, problems: list[PackProblem]) -> Report:
    def report(path: Path, code: str, message: str) -> None:
        if document is not None:
            problems.append(document.problem((*base, *path), code, message))

    return report
