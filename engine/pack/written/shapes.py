"""The shapes of a rule pack as it is written: what stands in its YAML files.

These models, and those of rules and targets in `rule_shapes`, check shape alone (keys, kinds, closed lists); what the
names refer to is checked in `engine/pack/checks`. The published JSON Schema of a pack (`schemas/pack.schema.json`) is
generated from them.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, FiniteFloat, StringConstraints, model_validator

from layette.engine.pack.written.shape import Ask, How, Label, Name, Question, Shape, Translation
from layette.engine.terms import Bound


def _a_date(text: str) -> str:
    date.fromisoformat(text)
    return text


def _left_and_right(sides: list[str]) -> list[str]:
    if sides != ["left", "right"]:
        raise ValueError("sides are [left, right]")
    return sides


Slug = Annotated[str, StringConstraints(pattern=r"^[a-z0-9]+([.\-][a-z0-9]+)*$")]
RuleId = Annotated[str, StringConstraints(pattern=r"^[a-z0-9\-]+\.[a-z0-9\-]+$")]
Amount = Annotated[
    str, StringConstraints(pattern=r"^(\d{1,6}(\.\d{1,6})? (s|min|h|d)|\d{1,4}(\.\d{1,6})? wk|\d{1,3} mo)$")
]
"""A number and a unit of time, such as ``24 h``; months are calendar months, and whole."""
Days = Annotated[str, StringConstraints(pattern=r"^\d{1,5} d$")]
Elapsed = Annotated[str, StringConstraints(pattern=r"^(\d{1,6}(\.\d{1,6})? (s|min|h|d)|\d{1,4}(\.\d{1,6})? wk)$")]
"""An `Amount` without calendar months."""
Date = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$"), AfterValidator(_a_date)]
FileName = Annotated[str, StringConstraints(pattern=r"^[^/\\:.]+(\.[^/\\:.]+)*$")]
"""A file of the pack by its name alone: the folder follows from the key, and nothing outside the pack is read."""
Offset = Annotated[
    str, StringConstraints(pattern=r"^-?(\d{1,6}(\.\d{1,6})? (s|min|h|d)|\d{1,4}(\.\d{1,6})? wk|\d{1,3} mo)$")
]
"""An `Amount` that may lie before its anchor."""
Side = Literal["left", "right"]
Language = Annotated[str, StringConstraints(pattern=r"^[a-z]{2,3}$")]
"""A language by its short code, such as ``en``."""
Category = Literal[
    "referral", "laboratory", "imaging", "procedure", "education", "evaluation", "therapy", "screening", "immunization"
]
Condition = dict[str, Any]
CodeValue = str | list[str]


Words = dict[Language, str | Translation]
"""What a family reads or hears, by language. `{setting.<name>}` in it stands for the words of a setting's choice."""


class NumberShape(Shape):
    """How a finding is measured: UCUM unit, accepted units, resolution and what is physically possible.

    ``substance`` (a name of `exact.units.MOLAR`) is needed where both a mass and an amount in a volume are accepted.
    """

    unit: str
    accepts: list[str] = Field(default_factory=list)
    substance: str | None = None
    resolution: Annotated[FiniteFloat, Field(gt=0)]
    plausible: Annotated[list[FiniteFloat], Field(min_length=2, max_length=2)]


class ReadingsShape(Shape):
    """A finding that is read in parts, several times: attempts `.1 .2 .3`, then the part."""

    parts: list[Name]
    together: Elapsed
    at_most: Annotated[int, Field(ge=1, le=9)]


class FindingShape(Shape):
    """One entry of the finding dictionary.

    ``codes`` say what is asked (system: code, or a list of codes); ``means`` maps a value to codes that state
    it by themselves (a Condition, or an Observation of presence). ``expected`` is what a healthy newborn shows.
    ``carries_over``: a value of an earlier visit still counts (birth facts, results, screens); without it a
    finding counts only for the visit at which it was made, so that an old "normal" never stands in for a look.
    ``dose``: the value that a dose on record (`history.immunizations`) states. ``event``: values that happened, so that
    a later "none" does not erase them for a day. ``stands``: values that stand until somebody looks again.
    ``not_known``: the value that says "asked, and not known", as FHIR's reason ``asked-unknown`` does; it takes back no
    settled value that is not expected. ``answers``: codes that are a value as the answer to this finding, and say
    nothing by themselves. ``asked``: codes that ask for one value alone, as a report by condition does: "no" rules out
    that value only. ``not_understood``: the value for an answer which no code and no word of the dictionary is.
    ``ask`` to ``value_labels`` say how it is asked: when it comes up, that it takes a hand or an instrument (no
    "normal" of a system fills it), that it is asked alone, in which words, by which skill, and the
    labels of its values.
    """

    label: str
    subject: Literal["baby", "mother"] = "baby"
    sides: Annotated[list[Side], AfterValidator(_left_and_right)] | None = None
    values: Annotated[list[Name], Field(min_length=1)] | None = None
    coarse: dict[Name, list[Name]] = Field(default_factory=dict)
    expected: Name | list[Name] | None = None
    number: NumberShape | None = None
    qualifier: dict[Name, list[Name]] = Field(default_factory=dict)
    readings: ReadingsShape | None = None
    applies_when: Condition | None = None
    carries_over: bool = False
    dose: Name | None = None
    event: list[Name] = Field(default_factory=list)
    stands: list[Name] = Field(default_factory=list)
    not_known: Name | None = None
    not_understood: Name | None = None
    codes: dict[str, CodeValue] = Field(default_factory=dict)
    part_codes: dict[Name, dict[str, CodeValue]] = Field(default_factory=dict)
    side_codes: dict[Side, dict[str, CodeValue]] = Field(default_factory=dict)
    means: dict[Name, dict[str, CodeValue]] = Field(default_factory=dict)
    answers: dict[Name, dict[str, CodeValue]] = Field(default_factory=dict)
    asked: dict[Name, dict[str, CodeValue]] = Field(default_factory=dict)
    awaited: bool = False
    reported: bool = False
    say: str | None = None
    variant: dict[Name, str] = Field(default_factory=dict)
    note: str | None = None
    ask: Ask | None = None
    by_hand: bool = False
    private: bool = False
    question: Question | None = None
    how: How | None = None
    value_labels: dict[Name, Label] = Field(default_factory=dict)


class NormalShape(Shape):
    """A "normal" charted for a whole system: the value that it stands for, for exactly the findings listed.

    Findings with sides are meant on both. Nothing else is spread, and what was recorded by itself comes first.
    ``leaves_out``: findings of the system that take a hand or an instrument, and are recorded by themselves alone.
    """

    label: str
    codes: dict[str, CodeValue] = Field(default_factory=dict)
    spreads: dict[Name, Name] = Field(default_factory=dict)
    leaves_out: list[Name] = Field(default_factory=list)


class FindingsFile(Shape):
    """One area of the examination: `findings/<area>.yaml`.

    ``record``: it is read in a record and asked, not examined; where most of it is open, one line says so.
    """

    area: str
    label: str
    step: str
    record: bool = False
    findings: dict[Name, FindingShape]
    normal: dict[Name, NormalShape] = Field(default_factory=dict)


class MeasureShape(BaseModel):
    """One measure: an engine function bound to findings. Further keys are the function's inputs.

    ``show``: it is published; ``headline``: it stands on the page without being asked for.
    ``term_only``: the gestation; of a baby who was surely born before 37 weeks it is not published.
    """

    model_config = ConfigDict(extra="allow", frozen=True, strict=True)

    compute: Name
    label: str
    unit: str | None = None
    codes: dict[str, CodeValue] = Field(default_factory=dict)
    source: str | None = None
    digits: Annotated[int, Field(ge=0, le=6)] = 1
    show: bool = True
    headline: bool = False
    term_only: Name | None = None


class ChoiceShape(Shape):
    """One choice of a setting; ``bounds`` where a rule uses it as a bound, ``words`` where texts name it."""

    label: str
    source: str | list[str] | None = None
    bounds: dict[Bound, FiniteFloat] | None = None
    words: Words = Field(default_factory=dict)
    value: str | FiniteFloat | None = None


class SettingShape(Shape):
    """A choice that a site makes where issuers differ; the default is the careful one."""

    label: str
    choices: dict[Slug, ChoiceShape]
    default: Slug
    why: str
    source: str | list[str] | None = None


class SourceShape(Shape):
    """A citation, once, with how far it was verified."""

    kind: Literal["published", "common-practice", "from-memory", "our-reading"]
    text: str
    issuer: Slug | None = None
    read: str | None = None


class Reviewed(Shape):
    """Who has compared a rule with its sources (a role or name), when, and until when that holds."""

    by: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
    on: Date
    until: Date

    @model_validator(mode="after")
    def _lasts(self) -> Reviewed:
        if self.until <= self.on:
            raise ValueError("a review holds until a day after the one on which it was made")
        return self


class Ages(Shape):
    """The ages that a pack covers, in whole days, the last one included."""

    start: Days = Field(alias="from")
    to: Days


class PackFile(Shape):
    """`pack.yaml`: who this pack is for, and its files in exam order.

    ``anchors`` binds the windows' anchors to findings: ``discharge`` to the age at discharge, ``term`` to the
    gestational age at birth. ``languages`` are those in which families are told; every text has the first one.
    """

    id: Slug
    version: str
    title: str
    jurisdiction: str
    ages: Ages
    valid_from: Date
    caution: str
    languages: Annotated[list[Language], Field(min_length=1)] = Field(default_factory=lambda: ["en"])
    anchors: dict[Literal["discharge", "term"], Name] = Field(default_factory=dict)
    settings: FileName = "settings.yaml"
    sources: FileName = "sources.yaml"
    measures: FileName = "measures.yaml"
    values: FileName | None = None
    orders: FileName | None = None
    findings: list[FileName]
    targets: list[FileName]
    decisions: list[FileName]
    guidance: list[FileName] = Field(default_factory=list)
    translations: list[FileName] = Field(default_factory=list)
    tables: list[FileName] = Field(default_factory=list)
    cases: list[FileName] = Field(default_factory=list)
    case_tables: list[FileName] = Field(default_factory=list)


def listed(value: str | list[str] | None) -> list[str]:
    """Return one or several as a list."""
    if value is None:
        return []
    return [value] if isinstance(value, str) else list(value)
