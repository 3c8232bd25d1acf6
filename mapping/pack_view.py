"""The little that reading and writing FHIR ask of a rule pack."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import FindingShape, NormalShape


class PackView(Protocol):
    """A pack as the readers and writers of FHIR see it; `layette.engine.Pack` is one, and so is a test's stand-in."""

    @property
    def id(self) -> str:
        """The pack's name."""
        ...

    @property
    def findings(self) -> Mapping[str, FindingShape]:
        """The finding dictionary, by name."""
        ...

    @property
    def normals(self) -> Mapping[str, NormalShape]:
        """What can be charted as normal for a whole system, by name."""
        ...

    @property
    def targets(self) -> Mapping[str, TargetShape]:
        """What recommendations are about, by name."""
        ...


def systems(pack: PackView) -> dict[str, FindingShape]:
    """Return what a pack lets be charted as normal for a whole system, each as a finding with two values.

    What "normal" stands for the engine knows; "abnormal" makes nothing known, and is reported.
    """
    values = ["normal", "abnormal"]
    return {
        name: FindingShape(label=shape.label, values=values, expected="normal", codes=shape.codes)
        for name, shape in pack.normals.items()
    }
