"""What is the same of a recommendation and of a reason at every visit, laid out once a pack."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import Any

from layette.engine.answer.laid.labels import label_of
from layette.engine.answer.laid.proposals import DueRule
from layette.engine.answer.laid.told import codes_of
from layette.engine.answer.shapes.proposed import Citation, Code, Diagnosis
from layette.engine.logic.residual import REMEMBERED
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import listed
from layette.engine.pack.written.views import View
from layette.engine.terms import Kind

Fields = Mapping[str, Any]


class Fixed:
    """The fixed fields of the pieces of an answer; it remembers them, and that dies with the pack."""

    def __init__(
        self,
        pack: CompiledPack,
        citations: Callable[[tuple[str, ...]], tuple[Citation, ...]],
        codes: Mapping[str, Sequence[Code]],
    ) -> None:
        """Take what gives the sources by their names, and the codes of each target."""
        self._pack, self._citations, self._codes = pack, citations, codes
        self.of_target = lru_cache(maxsize=REMEMBERED)(self._of_target)
        self.of_reason = lru_cache(maxsize=REMEMBERED)(self._of_reason)

    def _of_target(self, kind: Kind, name: str, side: str) -> Fields:
        """Return what is told of a target and side, whatever is found."""
        target = self._pack.targets[name]
        return {
            "target": name,
            "kind": kind,
            "label": target.label,
            "subject": target.subject,
            "side": side or None,
            "codes": self._codes[name],
            "category": target.category,
            "performer": target.performer,
            "looks_at": tuple(self._looks_at(target, side)),
            "placed": None,
        }

    def _looks_at(self, target: TargetShape, side: str) -> list[str]:
        """Return the labels of what a recheck looks at again; of a finding with sides, the side that is asked about."""
        findings = self._pack.findings
        places = [(name, side if name in findings and findings[name].sides else "") for name in target.recheck_of]
        return [label_of(self._pack, View(name, one_side)) for name, one_side in places]

    def of_due(self, rule: DueRule) -> Fields:
        """Return what is told of a rule that asks whether something is on record."""
        shape, proposal = self._pack.instances[rule.index].rule.shape, rule.proposal
        names = listed(shape.due)
        return {
            "finding": names[0],
            "label": " or ".join(self._pack.findings[name].label for name in names),
            "rule": shape.id,
            "priority": proposal.priority,
            "because": shape.because,
            "target": proposal.target,
            "kind": proposal.verb,
            "side": proposal.side or None,
            "subject": self._pack.targets[proposal.target].subject,
            "sources": self._citations(shape.sources),
        }

    def _of_reason(self, number: int, sources: tuple[str, ...]) -> Fields:
        """Return what is told of the rule with this number, where it rests on ``sources``."""
        rule = self._pack.instances[number].rule
        shape, stated = rule.shape, rule.shape.diagnosis
        return {
            "rule": shape.id,
            "title": shape.title,
            "because": shape.because,
            "sources": self._citations(sources),
            "place": rule.place,
            "diagnosis": Diagnosis(label=stated.label, codes=codes_of(stated.codes)) if stated else None,
        }
