"""The little that reading asks of a rule pack, and of a site."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple, Protocol

from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import FindingShape


class PackView(Protocol):
    """A pack as the reader sees it; `layette.engine.pack` has it, and so may a test's stand-in."""

    @property
    def id(self) -> str:
        """The pack's name."""
        ...

    @property
    def findings(self) -> Mapping[str, FindingShape]:
        """The finding dictionary, by name."""
        ...

    @property
    def targets(self) -> Mapping[str, TargetShape]:
        """What recommendations are about, by name."""
        ...


class SiteCode(NamedTuple):
    """A local code of a site and what it means: a finding, or one value of it.

    ``unit`` (UCUM) is the unit of numbers that the site sends under this code without one.
    """

    system: str
    code: str
    finding: str
    value: str | None = None
    unit: str | None = None
