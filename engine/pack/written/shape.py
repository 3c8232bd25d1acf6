"""What all shapes of a pack are made of: a mapping with a closed list of keys, and the name of a finding or value."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, StringConstraints

Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$")]


class Shape(BaseModel):
    """A mapping of a pack with a closed list of keys."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)
