"""What a test may name: findings, measures, conclusions, settings, and the sex at birth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from layette.engine.exact.units import BILIRUBIN
from layette.engine.measures import REGISTRY
from layette.engine.measures.input_kinds import OF_TABLE, SAME
from layette.engine.pack.written.shapes import FindingShape, MeasureShape, NormalShape, SettingShape
from layette.engine.pack.written.yaml_nodes import Document

SEX = "sex_at_birth"
SEXES = ("male", "female")

Coarse = Mapping[str, tuple[str, ...]]
"""The less exact values of a finding, with the values still possible under each."""


def inputs_of(shape: MeasureShape) -> tuple[str, ...]:
    """Return the findings, measures and conclusions that a measure is computed from, in the order as written."""
    declared = REGISTRY.get(shape.compute)
    given = (shape.model_extra or {}).items() if declared else ()
    return tuple(str(value).split(".")[0] for key, value in given if declared and key in declared.subjects)


@dataclass(frozen=True)
class Subjects:
    """The names of a pack that conditions can use."""

    findings: Mapping[str, FindingShape]
    measures: Mapping[str, MeasureShape]
    settings: Mapping[str, SettingShape]
    conclusions: frozenset[str]
    bands: Mapping[str, tuple[str, ...]]
    documents: Mapping[str, Document]
    normals: Mapping[str, NormalShape] = field(default_factory=dict)
    derived: dict[str, Any] = field(init=False, default_factory=dict, compare=False, repr=False)
    """What readers of visits have worked out from these names, once for all visits."""
    _coarse: dict[str, Coarse] = field(init=False, default_factory=dict, compare=False, repr=False)

    def document_of(self, finding: str) -> Document | None:
        """Return the file in which a finding is written."""
        return self.documents.get(finding)

    def unit(self, name: str) -> str | None:
        """Return the unit in which bounds on ``name`` are meant; None for a category."""
        if name in self.findings:
            number = self.findings[name].number
            return number.unit if number else None
        return self.measure_unit(name)

    def substance(self, name: str) -> str | None:
        """Return the substance that a finding measures; measures that compare masses and amounts are of bilirubin."""
        number = self.findings[name].number if name in self.findings else None
        return number.substance if number else BILIRUBIN

    def measure_unit(self, name: str) -> str | None:
        """Return the unit of a measure: its own, else its function's, else that of the first thing it is computed of.

        None where only its table knows.
        """
        asked: list[str] = []
        while name in self.measures and name not in asked:  # a measure that depends on itself is told elsewhere
            asked.append(name)
            shape = self.measures[name]
            declared = REGISTRY.get(shape.compute)
            if shape.unit or declared is None or declared.unit not in (SAME, OF_TABLE):
                return shape.unit or (declared.unit if declared else None)
            first = next(iter(declared.subjects), "")
            name = str((shape.model_extra or {}).get(first, "")).split(".")[0]
        return self.unit(name) if name in self.findings else None

    def sides(self, name: str) -> tuple[str, ...]:
        """Return the sides of a finding, empty where it has none."""
        shape = self.findings.get(name)
        return tuple(shape.sides) if shape and shape.sides else ()

    def values(self, name: str) -> tuple[str, ...]:
        """Return the values of a categorical finding."""
        if name == SEX:
            return SEXES
        shape = self.findings.get(name)
        return tuple(shape.values) if shape and shape.values else ()

    def categories(self, measure: str) -> tuple[str, ...]:
        """Return the categories that a measure answers with, empty where it answers with a number."""
        return self.bands.get(measure, ())

    def coarse(self, name: str) -> Coarse:
        """Return the less exact values that may be recorded, with the values still possible under each.

        ``abnormal`` exists by itself where the dictionary says what is expected.
        """
        known = self._coarse.get(name)
        if known is None:
            known = self._coarse[name] = self._coarse_of(name)
        return known

    def _coarse_of(self, name: str) -> Coarse:
        shape = self.findings.get(name)
        if not shape or not shape.values:
            return {}
        out = {word: tuple(values) for word, values in shape.coarse.items()}
        if shape.expected is not None and "abnormal" not in shape.values:
            expected = {shape.expected} if isinstance(shape.expected, str) else set(shape.expected)
            rest = tuple(value for value in shape.values if value not in {*expected, shape.not_understood})
            if rest:
                out.setdefault("abnormal", rest)
        return out

    def known(self, name: str) -> bool:
        """Whether a condition may name ``name``."""
        return name == SEX or name in self.findings or name in self.measures or name in self.conclusions
