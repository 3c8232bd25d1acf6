"""A pack, read, checked and compiled: immutable parts without verbs.

What is laid out of them once lies in the room that uses it: `states/plan.py`, `answer/plan.py`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources.abc import Traversable
from pathlib import Path as FilePath

from layette.engine.logic.conditions import Node
from layette.engine.logic.program import Program
from layette.engine.pack.site import Site
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shape import Label, OrderShape
from layette.engine.pack.written.shapes import (
    FindingsFile,
    FindingShape,
    MeasureShape,
    PackFile,
    SettingShape,
    SourceShape,
)
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.translations import Translations
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.written import Instance, SetGuards, Written
from layette.engine.tables.load import Table


@dataclass(frozen=True)
class Compiled:
    """What compiling gives: the program, what its rules stand for, and the guards of findings.

    ``instances[k]`` says what rule number k of ``program`` is, ``table`` what variable number k looks at.
    ``inexact`` are the keys of rules that may stay undecided though all that they test is known loosely enough.
    """

    program: Program
    instances: tuple[Instance, ...]
    guards: Mapping[str, Node]
    table: VariableTable
    inexact: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class CompiledPack:
    """What a pack is made of; everything but ``compiled`` and ``subjects`` as it is written, by name."""

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
    set_guards: SetGuards
    folder: Traversable | FilePath
    translations: Mapping[str, Translations]
    value_labels: Mapping[str, Label]
    orders: Mapping[str, OrderShape]

    def label_of_value(self, finding: str, value: str) -> Label | None:
        """Return what a value of a finding is called: its own label, else that of the word."""
        return self.findings[finding].value_labels.get(value) or self.value_labels.get(value)

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

    @property
    def guards(self) -> Mapping[str, Node]:
        """For each finding with `applies_when`, its condition."""
        return self.compiled.guards

    @property
    def id(self) -> str:
        """The pack's id."""
        return self.shape.id

    @property
    def version(self) -> str:
        """The pack's version."""
        return self.shape.version

    @property
    def oldest_days(self) -> int:
        """The last day of life that the pack covers."""
        return int(self.shape.ages.to.split()[0])
