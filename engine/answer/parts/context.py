"""One decision with the plan of its answer, and what is remembered while it is put into words."""

from __future__ import annotations

from typing import NamedTuple

from layette.engine.answer.parts.assessment import Used
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.answer.parts.windows import RealWindow
from layette.engine.states.decide import Decision


class WantedInput(NamedTuple):
    """What an open rule still waits for: ``kind`` is finding, history, sex, time or supplied."""

    finding: str
    side: str
    kind: str


class Context:
    """What the makers of an answer look at; many of them ask the same, which is worked out once a visit."""

    def __init__(self, decision: Decision, plan: AnswerPlan) -> None:
        """Explain ``decision``, which was read of the pack of ``plan``."""
        self.plan = plan
        self.pack = plan.pack
        self.decision = decision
        self.statuses = decision.statuses
        self.standing = decision.standing
        self.readers = decision.readers
        self.not_applicable = decision.not_applicable
        self.facts = facts = decision.facts
        self.visit = facts.visit
        self.states = facts.states
        self.settings = facts.settings
        self.readings = facts.readings
        self.windows: dict[int, RealWindow] = {}
        self.wanted_inputs: dict[int, tuple[WantedInput, ...]] = {}
        self.open_inputs: dict[int, tuple[WantedInput, ...]] = {}
        self.wanted_texts: dict[WantedInput, str] = {}
        self.measure_texts: dict[str, str] = {}
        self.rule_values: dict[int, tuple[Used, ...]] = {}
