"""What all shapes of a pack are made of: closed mappings, names, words in another language."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, StringConstraints

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]


class Shape(BaseModel):
    """A mapping of a pack with a closed list of keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)


class Translation(Shape):
    """A text in another language; ``review: needed`` until somebody who speaks it has read it beside the first one."""

    text: str
    review: Literal["needed"] | None = None
