"""A piece of an answer: frozen, ordered and printable, so that the same visit gives the same bytes."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Part(BaseModel):
    """A frozen piece of an assessment."""

    model_config = ConfigDict(frozen=True, extra="forbid")
