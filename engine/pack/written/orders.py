"""The orders of work: in which sequence a baby is examined, as data; a page offers them as a choice."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from layette.engine.pack.written.shape import Label, Name, Shape


class OwnStep(Shape):
    """A step that takes findings out of their areas: those that need a quiet baby, or that wake it."""

    name: Name
    label: Label
    step: Label
    findings: Annotated[list[Name], Field(min_length=1)]


class OrderShape(Shape):
    """One order of work: areas by name, each once, and steps of its own between them."""

    label: Label
    steps: Annotated[list[str | OwnStep], Field(min_length=1)]

    @property
    def own(self) -> list[OwnStep]:
        """The steps that are no areas."""
        return [one for one in self.steps if isinstance(one, OwnStep)]

    @property
    def areas(self) -> list[str]:
        """The areas, in their order."""
        return [one for one in self.steps if isinstance(one, str)]


class OrdersFile(Shape):
    """`orders.yaml`: the orders of work by name, the usual one first."""

    orders: Annotated[dict[Name, OrderShape], Field(min_length=1)]
