"""What an audit lays out once of a pack, and remembers of it; it dies with the pack."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cohort.counted import RuleCodes
from layette.engine.cohort.laid import Laid
from layette.engine.cohort.meaning import Meanings
from layette.engine.cohort.plain import PlainReader
from layette.engine.cohort.values import ValueReader
from layette.engine.cohort.waits import Waits


class CohortPlan:
    """A pack, laid out for many visits; threads may share it."""

    def __init__(self, plan: AnswerPlan) -> None:
        """Lay out the pack of ``plan``, each part when it is first asked for."""
        self.plan = plan

    @cached_property
    def codes(self) -> RuleCodes:
        """The rules as planes."""
        return RuleCodes(self.plan.pack)

    @cached_property
    def values(self) -> ValueReader:
        """What reads the values of all views."""
        return ValueReader(self.plan.pack)

    @cached_property
    def meanings(self) -> Mapping[str, str]:
        """What the value of each view hangs on, by its key."""
        return Meanings(self.values.plan.states).all()

    @cached_property
    def laid(self) -> Laid:
        """What the rules lead to, in columns."""
        return Laid(self.plan)

    @cached_property
    def plain(self) -> PlainReader:
        """What tells plain visits."""
        return PlainReader(self.laid)

    @cached_property
    def waits(self) -> Waits:
        """What tells what undecided rules wait for."""
        return Waits(self.plan)
