"""The answer for one visit, as plain data.

Everything here is frozen, ordered and printable, so that the same visit gives the same bytes. Times are
ISO 8601 text in the offset of the visit; numbers are text in the digits that they deserve, with their unit.
`Assessment.to_json` is the published form (`schemas/assessment.schema.json`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from layette.engine.terms import Deadline, Kind, Priority

SCHEMA_VERSION = 1


class Part(BaseModel):
    """A frozen piece of an assessment."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Used(Part):
    """A value that a rule or measure read: what it is, what was found, when, and where it came from."""

    subject: str
    label: str
    value: str
    time: str | None = None
    origin: str | None = None
    note: str | None = None


class Citation(Part):
    """A source: where a rule or value comes from, and how far that was verified."""

    id: str
    text: str
    kind: Literal["published", "common-practice", "from-memory", "our-reading"]
    issuer: str | None = None


class Code(Part):
    """A code of a published system, already verified by the pack's rules for codes."""

    system: str
    code: str
    display: str | None = None


class Diagnosis(Part):
    """A diagnosis that a rule's finding states by itself: proposed to the clinician, confirmed by nobody."""

    label: str
    codes: tuple[Code, ...] = ()


class Reason(Part):
    """Why something is recommended: the rule, what fired it, one sentence, the sources.

    ``unless`` is set on a provisional reason: what would replace it if it were recorded.
    ``diagnosis`` is what the rule proposes beside the recommendation.
    """

    rule: str
    title: str
    because: str
    status: Literal["fired", "provisional"]
    values: tuple[Used, ...]
    sources: tuple[Citation, ...]
    unless: tuple[str, ...] = ()
    since: str | None = None
    place: str = ""
    diagnosis: Diagnosis | None = None


class Window(Part):
    """When something is to be done. ``text`` says it for people; ``overdue`` if `until` is past."""

    start: str | None = None
    until: str | None = None
    text: str
    overdue: bool = False
    missing: str | None = None


class Placed(Part):
    """An order that already stands in the history for the same request; ``overdue``: live, and its time has passed."""

    reference: str | None = None
    status: str
    priority: Priority | None = None
    time: str | None = None
    until: str | None = None
    overdue: bool = False


class Recommendation(Part):
    """What is proposed for one target: the most pressing of its reasons, all reasons kept.

    ``certain`` is the priority that stands whatever the unknown turn out to be (None: only provisional).
    ``side`` is ``left``, ``right`` or None. ``looks_at``: the findings that a recheck looks at again.
    ``request_key`` names what must not exist twice, ``answer_key`` this answer to it.
    """

    target: str
    kind: Kind
    label: str
    subject: Literal["baby", "mother"] = "baby"
    side: str | None = None
    priority: Priority
    certain: Priority | None
    possible: Priority
    window: Window
    do: tuple[str, ...] = ()
    plain: Mapping[str, str] = Field(default_factory=dict)
    reasons: tuple[Reason, ...]
    codes: tuple[Code, ...] = ()
    category: str | None = None
    performer: str | None = None
    looks_at: tuple[str, ...] = ()
    episode: str
    request_key: str
    answer_key: str
    placed: Placed | None = None


class DoGroup(Part):
    """What is to be done by one deadline; ``until`` is its end, where that is a moment."""

    deadline: Deadline
    until: str | None
    items: tuple[Recommendation, ...]


class ComeBackItem(Part):
    """One thing that happens at a visit to come; ``target`` where it is a recheck that is proposed."""

    label: str
    side: str | None
    target: str | None


class ComeBack(Part):
    """A visit to come: the span of days that all its items share, and what happens there."""

    start: str
    until: str | None
    items: tuple[ComeBackItem, ...]


class Verdict(Part):
    """The answer in one sentence, and the numbers in it."""

    text: str
    pressing: bool
    now: int
    by_tomorrow: int
    to_judge: int
    next_visit: ComeBack | None


class ToJudge(Part):
    """A recorded value on which a pressing answer hangs and which the rules cannot judge: a person reads it.

    ``priority`` is what it could bring for ``target``; ``values`` are what was recorded, ``why`` says what stands in
    the way, ``settles`` what would end the doubt.
    """

    target: str
    kind: Kind
    label: str
    subject: Literal["baby", "mother"] = "baby"
    side: str | None = None
    priority: Priority
    values: tuple[Used, ...]
    why: str
    settles: str
    rules: tuple[str, ...]
    request_key: str
    answer_key: str


class Topics(Part):
    """Guidance owed under one heading."""

    heading: str
    topics: tuple[Recommendation, ...]


class Answer(Part):
    """How far one target is settled. ``settled`` with ``certain`` None is the only "not needed"."""

    target: str
    side: str | None = None
    kind: Kind
    label: str
    certain: Priority | None
    possible: Priority | None
    settled: bool


class Question(Part):
    """A finding that is open and would settle something; ``label`` names its side.

    ``state`` is ``not examined``, ``attempted`` (with ``reason``), or ``too loose`` (known, but not closely enough).
    ``settles`` are the rules that a single value of this finding can decide, ``emergencies`` those that are ``stat``.
    """

    finding: str
    side: str | None = None
    label: str
    state: Literal["not examined", "attempted", "too loose"]
    reason: str | None = None
    rules: tuple[str, ...]
    settles: tuple[str, ...]
    emergencies: tuple[str, ...] = ()
    worst: Priority


class Step(Part):
    """One step of the examination with what is still open in it."""

    area: str
    label: str
    worst: Priority
    rules: int
    emergencies: int
    questions: tuple[Question, ...]


class Due(Part):
    """Something wanted from-until an age that is not on record.

    ``said_not_done``: the record says that it was not done, or is complete without it, so that it is proposed; else it
    is looked up first (`Assessment.not_on_record`), but for an emergency.
    """

    finding: str
    target: str
    kind: Kind
    side: str | None = None
    subject: Literal["baby", "mother"] = "baby"
    said_not_done: bool
    label: str
    rule: str
    window: Window
    state: Literal["later", "due", "overdue"]
    priority: Priority
    because: str
    sources: tuple[Citation, ...]


class NotEvaluated(Part):
    """A rule that could not be read at all, and why (no threshold table, another issuer's thresholds)."""

    rule: str
    title: str
    why: str
    priority: Priority | None


class Measured(Part):
    """A computed value. ``low`` and ``high`` differ where an input is not exactly known; both None: unknown.

    ``derived_from`` are the readings that it was computed from; ``basis`` names table, set and issuer.
    """

    id: str
    label: str
    text: str
    low: str | None
    high: str | None
    category: str | None = None
    unit: str | None
    codes: tuple[Code, ...] = ()
    derived_from: tuple[Used, ...]
    basis: str
    source: Citation | None = None
    time: str | None = None
    headline: bool = False


class Concluded(Part):
    """A finding that rules derived: ``yes``, ``no`` or ``open``."""

    id: str
    label: str
    state: Literal["yes", "no", "open"]
    rules: tuple[str, ...]


class Choice(Part):
    """Which of several readings of a finding was used, which not, and why."""

    subject: str
    used: Used | None
    not_used: tuple[Used, ...]
    why: str


class Compared(Part):
    """A finding of this visit beside its value at the last other visit."""

    finding: str
    label: str
    earlier: Used
    now: Used
    changed: bool


class Traced(Part):
    """One rule in the trace; ``open`` is what it waits for, ``settled_by`` of that what alone can settle it."""

    rule: str
    title: str
    place: str
    status: Literal["fired", "provisional", "undecided", "ruled out", "not applicable"]
    values: tuple[Used, ...] = ()
    open: tuple[str, ...] = ()
    settled_by: tuple[str, ...] = ()
    may_stay_undecided: bool = False


class SettingUsed(Part):
    """A setting that was in force, and whether it differs from the pack's default."""

    id: str
    label: str
    choice: str
    default: bool


class PackUsed(Part):
    """Which pack answered."""

    id: str
    version: str
    jurisdiction: str
    digest: str


class Assessment(Part):
    """All that one visit gives, in the order in which people need it.

    ``recommendations`` are proposed; ``standing`` are answered by an order that was placed, declined or done already.
    ``contacts`` are the site's, as its site file names them.
    """

    layette_assessment: int = SCHEMA_VERSION
    caution: str
    pack: PackUsed
    engine: str
    readers: tuple[str, ...]
    read: str
    at: str
    born: str
    age: str
    patient: str | None
    encounter: str | None
    verdict: Verdict
    do: tuple[DoGroup, ...]
    come_back: tuple[ComeBack, ...]
    tell_family: tuple[Topics, ...]
    not_on_record: tuple[Due, ...]
    recommendations: tuple[Recommendation, ...]
    to_judge: tuple[ToJudge, ...] = ()
    to_chase: tuple[Recommendation, ...] = ()
    standing: tuple[Recommendation, ...] = ()
    avoid: tuple[Recommendation, ...]
    guidance: tuple[Recommendation, ...]
    reassurance: tuple[Recommendation, ...]
    answers: tuple[Answer, ...]
    steps: tuple[Step, ...]
    due: tuple[Due, ...]
    cannot_evaluate: tuple[NotEvaluated, ...]
    measures: tuple[Measured, ...]
    conclusions: tuple[Concluded, ...]
    notices: tuple[str, ...]
    warnings: tuple[str, ...]
    settings: tuple[SettingUsed, ...]
    choices: tuple[Choice, ...]
    compared: tuple[Compared, ...] = ()
    contacts: Mapping[str, str] = Field(default_factory=dict)
    trace: tuple[Traced, ...]

    def to_json(self, indent: int | None = 2) -> str:
        """Return the published JSON form; equal visits give equal bytes."""
        return self.model_dump_json(indent=indent)
