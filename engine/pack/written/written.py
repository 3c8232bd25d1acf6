"""A rule as it stands in a file, and one side of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.yaml_nodes import Document, Path
from layette.engine.terms import Kind


@dataclass(frozen=True)
class Written:
    """A rule as it stands in a file; ``judged`` are the places in `then` that a site has judged and not acted on."""

    shape: RuleShape
    document: Document
    path: Path
    group: str
    judged: frozenset[int] = frozenset()

    def verb_of(self, number: int) -> Kind | None:
        """Return what a consequence asks for at this site: its verb, or `judge`."""
        return "judge" if number in self.judged else self.shape.then[number].verb

    @cached_property
    def place(self) -> str:
        """``file:line`` of the rule."""
        return f"{self.document.file}:{self.document.line(self.path)}"


@dataclass(frozen=True)
class Instance:
    """One rule for one side: what a program's rule number stands for."""

    rule: Written
    side: str

    @cached_property
    def key(self) -> str:
        """The rule's id, with its side where it has one."""
        return f"{self.rule.shape.id}@{self.side}" if self.side else self.rule.shape.id


SetGuards = Mapping[str, tuple[str, tuple[str, ...]]]
"""Rule id -> (setting, choices) under which its threshold set may be used."""


ANY = "any-"
"""How the id of a rule that spans several rows of a table goes on after the table's name."""


def spans_rows(rule: Written) -> bool:
    """Whether a rule is the one that spans several rows of a table."""
    group: str = rule.group
    return group.startswith("tables/") and rule.shape.id.split(".")[1].startswith(ANY)
