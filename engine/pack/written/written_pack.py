"""A whole pack as it is written: all that its files hold in the right shape, before names are looked up."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

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
from layette.engine.pack.written.translations import TranslationFile
from layette.engine.pack.written.written import Written
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.tables.load import Table


@dataclass(frozen=True, eq=False)
class WrittenPack:
    """What the files of a pack hold. ``documents`` are the files by name; two more say where a name is defined.

    ``value_labels`` are those that findings share.
    """

    shape: PackFile
    sources: Mapping[str, SourceShape]
    settings: Mapping[str, SettingShape]
    measures: Mapping[str, MeasureShape]
    areas: tuple[FindingsFile, ...]
    targets: Mapping[str, TargetShape]
    tables: Mapping[str, Table]
    rules: tuple[Written, ...]
    documents: Mapping[str, Document]
    finding_documents: Mapping[str, Document]
    target_documents: Mapping[str, Document]
    value_labels: Mapping[str, Label]
    translations: Mapping[str, TranslationFile]
    orders: Mapping[str, OrderShape] = field(default_factory=dict)

    @cached_property
    def findings(self) -> Mapping[str, FindingShape]:
        """The findings of all areas, in the order of the examination; of two by one name the first counts."""
        named: dict[str, FindingShape] = {}
        for area in self.areas:
            named |= {**area.findings, **named}
        return named

    @cached_property
    def conclusions(self) -> frozenset[str]:
        """The names that rules conclude."""
        return frozenset(c.conclude for rule in self.rules for c in rule.shape.then if c.conclude)
