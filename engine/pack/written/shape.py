"""What all shapes of a pack are made of, and how a finding is asked: when, in which words, by which skill; labels."""

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
