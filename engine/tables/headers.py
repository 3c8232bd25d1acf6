"""The header of a table: what stands in the YAML file beside its CSV."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from layette.engine.measures.thresholds import Risk

Text: TypeAlias = Annotated[str, Field(min_length=1)]


Sources: TypeAlias = Annotated[
    tuple[Text, ...],
    BeforeValidator(lambda v: (v,) if isinstance(v, str) else v, json_schema_input_type=Text | tuple[Text, ...]),
    Field(min_length=1),
]


Status: TypeAlias = Literal["verified", "secondary", "memory", "our-reading"]


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class SignOff(_Model):
    """Who compared a supplied set with its document, in which role, when."""

    name: Text
    role: Text
    on: date


class TableHeader(_Model):
    """What every header says. ``for_people``: columns that are printed, not computed with."""

    label: Text
    source: Sources
    status: Status
    unit: Text
    note: str = ""
    choices: tuple[Text, ...] = ()
    for_people: tuple[Text, ...] = ()


Run: TypeAlias = Literal["straight", "step"]
"""How a line runs from one point to the next."""


class SetHeader(TableHeader):
    """A set of treatment lines; see `load.py`. ``after_last``: whether a line holds after its last point.

    ``between``: how the lines run from point to point, one word for all or one for each line that differs from
    straight. ``one_way``: a value above a line lies beyond it, one below is never answered. ``near`` and ``younger``:
    how far below a line a value that no line can judge still matters, in the set's unit, and the set whose lines say
    so for gestations below the lowest.
    """

    kind: Literal["set"]
    issuer: Text
    beyond: Literal["more_than", "at_least"]
    gestations: Annotated[tuple[int, ...], Field(min_length=1)]
    lines: dict[Text, Text] | tuple[Text, ...]
    axis: str | None = None
    risks: tuple[Risk, ...] = ()
    covers: tuple[int, int]
    between: Run | dict[Text, Run] = "straight"
    after_last: Literal["hold", "not_known"] = "hold"
    one_way: Literal["above"] | None = None
    near: Annotated[int, Field(ge=0)] | None = None
    younger: Text | None = None
    provenance: str = ""
    signed_off: tuple[SignOff, ...] = ()

    @model_validator(mode="after")
    def _one_form(self) -> SetHeader:
        wide = isinstance(self.lines, dict)
        if wide and (self.axis is None or self.risks or len(self.gestations) != 1):
            raise ValueError("lines with a column each need an axis, one gestation, and no risks")
        if not wide and self.axis is not None:
            raise ValueError("axis belongs to lines with a column each; else the hours stand in age_hours")
        if isinstance(self.between, dict) and not set(self.between) <= set(self.lines):
            raise ValueError(f"'between' names a line that the set has not: its lines are {', '.join(self.lines)}")
        if self.younger is not None and self.near is None:
            raise ValueError("'younger' says for whom 'near' is measured: give 'near' too")
        return self

    def is_straight(self, line: str) -> bool:
        """Whether a line runs straight from point to point."""
        run = self.between.get(line, "straight") if isinstance(self.between, dict) else self.between
        return run == "straight"


class LmsHeader(TableHeader):
    """L, M, S by ``sex`` (male, female) and day; ``covers`` the first and last day."""

    kind: Literal["reference"]
    method: Literal["lms"]
    axis: Text
    covers: tuple[int, int]
    restricted_beyond_3_sd: bool


class PercentilesHeader(TableHeader):
    """Printed percentiles by ``sex`` and day of gestation; the columns are named P3, P5, ..."""

    kind: Literal["reference"]
    method: Literal["percentiles"]
    axis: Text
    covers: tuple[int, int]
    columns: Annotated[tuple[Annotated[str, Field(pattern=r"^P\d{1,2}$")], ...], Field(min_length=2)]


class StepsHeader(TableHeader):
    """Steps of age; ``columns``: name -> one CSV column, or the low and the high one of a range."""

    kind: Literal["reference"]
    method: Literal["steps"]
    axis: StepAxis
    columns: Annotated[dict[Text, Text | tuple[Text, Text]], Field(min_length=1)]


class PrintedHeader(TableHeader):
    """Numbers that people read: ``keys`` tell the rows apart, ``columns`` are numbers."""

    kind: Literal["reference"]
    method: Literal["printed"]
    keys: Annotated[tuple[Text, ...], Field(min_length=1)]
    columns: Annotated[tuple[Text, ...], Field(min_length=1)]


class SanityHeader(TableHeader):
    """Approximate points, never thresholds: ``line,risk,gestation_weeks,age_hours,value,within,otherwise``."""

    kind: Literal["sanity"]
    issuer: Text


ReferenceHeader: TypeAlias = Annotated[
    LmsHeader | PercentilesHeader | StepsHeader | PrintedHeader, Field(discriminator="method")
]


Header: TypeAlias = Annotated[SetHeader | ReferenceHeader | SanityHeader, Field(discriminator="kind")]


class StepAxis(_Model):
    """Start and end of each step: columns of days of life (first day 1, both included) or of hours (end excluded)."""

    start: Text
    end: Text
    unit: Literal["day", "h"]
