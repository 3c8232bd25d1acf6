"""One decision with the plan of its answer, and what is remembered while it is put into words."""

from __future__ import annotations

from layette.engine.answer.laid.waiting import WantedInput
from layette.engine.answer.laid.windows import RealWindow
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.answer.shapes.proposed import Used, Window
from layette.engine.exact.times import day_number, moment, stamp
from layette.engine.logic.conditions import Among, State
from layette.engine.pack.written.views import View
from layette.engine.states.decide import Decision
from layette.engine.visit.visit import Recorded


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
        self.measure_numbers: dict[str, tuple[str | None, str | None]] = {}
        self.rule_values: dict[int, tuple[Used, ...]] = {}
        self.without_results: list[State] | None = None
        self.holding: dict[int, tuple[Among, ...]] = {}
        self.used: dict[tuple[int, int], tuple[Used, Recorded, View | None]] = {}
        self.choices = tuple(self.settings.items())
        self.who = sorted(f"{s}|{v}" for s, v in self.visit.identifiers) or [self.visit.patient or ""]
        self._windows: dict[RealWindow, Window] = {}
        self._days: dict[int, int] = {}
        self._stamps: dict[int, str] = {}
        self._seconds: dict[str, int] = {}

    def stamp(self, second: int) -> str:
        """Print a UTC second in the offset of the visit."""
        text = self._stamps.get(second)
        if text is None:
            text = self._stamps[second] = stamp(second, self.visit.zone)
            self._seconds[text] = second
        return text

    def second(self, text: str) -> int:
        """Return the UTC second, or the first one, of a moment as it is printed."""
        second = self._seconds.get(text)
        if second is None:
            second = self._seconds[text] = moment(text, self.visit.zone).lo
        return second

    def shown(self, window: RealWindow) -> Window:
        """Return a window as it is published; many recommendations have the same."""
        made = self._windows.get(window)
        if made is None:
            made = self._windows[window] = window.shown(self.stamp)
        return made

    def day(self, second: int) -> int:
        """Return the ordinal of the calendar day of a UTC second where the visit is."""
        day = self._days.get(second)
        if day is None:
            day = self._days[second] = day_number(second, self.visit.zone)
        return day
