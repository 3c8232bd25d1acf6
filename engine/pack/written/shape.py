"""What all shapes of a pack are made of, and how a finding is asked: when, in which order, which words; labels."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]


class Shape(BaseModel):
    """A mapping of a pack with a closed list of keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)


class Translation(Shape):
    """A text in another language; ``review: needed`` until somebody who speaks it has read it beside the first one."""

    text: str
    review: Literal["needed"] | None = None


class AskAfter(Shape):
    """A finding that comes up once a condition holds, and on request before that."""

    after: dict[str, Any]


Ask = Literal["first", "record", "family", "seen"] | AskAfter
"""Looked at in every visit, read from the record, told by the family, tapped only if seen, or shown after others."""


class Question(Shape):
    """What the family is asked, in their language."""

    en: str
    es: str | Translation

    @property
    def spanish(self) -> str:
        """The Spanish words, reviewed or not."""
        return self.es if isinstance(self.es, str) else self.es.text


class How(Shape):
    """How the examiner does it and what one sees, where a skill is needed."""

    text: str
    source: str | list[str]


class Label(Shape):
    """What a recorded value is called, by language."""

    en: str
    es: str


class ValuesFile(Shape):
    """`values.yaml`: the label of each word that findings use as a value; a finding's own label comes before it.

    ``review`` names the languages that a speaker has still to look at.
    """

    review: dict[Literal["es"], Literal["needed"]] = Field(default_factory=dict)
    labels: Annotated[dict[Name, Label], Field(min_length=1)]


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
