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
from layette.engine.pack.compile import Compiled
from layette.engine.pack.site import Site
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import (
    FindingsFile,
    FindingShape,
    MeasureShape,
    PackFile,
    SettingShape,
    SourceShape,
)
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.written import Instance, Written
from layette.engine.tables.load import Table


@dataclass(frozen=True, eq=False)
class CompiledPack:
    """What a pack is made of.

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
        """For each finding that is not for every newborn, whom it is for."""
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
