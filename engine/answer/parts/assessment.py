"""The answer for one visit, as plain data.

Everything here is frozen, ordered and printable, so that the same visit gives the same bytes. Times are
ISO 8601 text in the offset of the visit; numbers are text in the digits that they deserve, with their unit.
`Assessment.to_json` is the published form (`schemas/assessment.schema.json`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from difflib import get_close_matches
from importlib.metadata import entry_points
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

from layette.engine.terms import PRIORITIES, Deadline, Kind, Priority

SCHEMA_VERSION = 2


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
    """When something is to be done. ``text`` says it for people; ``overdue`` if `until` is past.

    ``proposed``: when a draft of ours asked for it first, whose end is kept; overdue, it was never ordered.
    """

    start: str | None = None
    until: str | None = None
    text: str
    overdue: bool = False
    missing: str | None = None
    proposed: str | None = None


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
    """The answer in one sentence, and the numbers in it; ``to_judge`` counts values, each once."""

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


class Detail(Part):
    """All that only explains an answer; made when it is asked for.

    ``answers`` say how far each target is settled, ``steps`` what is still open, finding by finding, ``due`` what is
    wanted at any age, ``trace`` what became of every rule.
    """

    answers: tuple[Answer, ...] = ()
    steps: tuple[Step, ...] = ()
    due: tuple[Due, ...] = ()
    cannot_evaluate: tuple[NotEvaluated, ...] = ()
    conclusions: tuple[Concluded, ...] = ()
    choices: tuple[Choice, ...] = ()
    notices: tuple[str, ...] = ()
    trace: tuple[Traced, ...] = ()


class Explanation(Part):
    """What stands behind one rule or target: its rules, how far it is settled, and what is proposed for it."""

    rules: tuple[Traced, ...]
    answers: tuple[Answer, ...]
    recommendations: tuple[Recommendation, ...]


class Assessment(Part):
    """All that one visit gives, in the order in which people need it; what only explains is made when asked for.

    ``do`` is proposed, by deadline; ``to_judge`` a person reads before they leave; ``to_chase`` is ordered and
    overdue; ``standing`` is answered by an order that was placed, declined or done. ``contacts`` are the site's.
    What explains it stands in ``detail`` and is reached by its own name (``trace``, ``steps``, ``answers``, …).
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
    to_judge: tuple[ToJudge, ...] = ()
    to_chase: tuple[Recommendation, ...] = ()
    avoid: tuple[Recommendation, ...]
    tell_family: tuple[Topics, ...]
    come_back: tuple[ComeBack, ...]
    not_on_record: tuple[Due, ...]
    reassurance: tuple[Recommendation, ...]
    standing: tuple[Recommendation, ...] = ()
    measures: tuple[Measured, ...]
    compared: tuple[Compared, ...] = ()
    warnings: tuple[str, ...]
    notices: tuple[str, ...]
    settings: tuple[SettingUsed, ...]
    contacts: Mapping[str, str] = Field(default_factory=dict)
    _makers: Mapping[str, Callable[[], tuple[Any, ...]]] = PrivateAttr(default_factory=dict)
    _made: dict[str, tuple[Any, ...]] = PrivateAttr(default_factory=dict)
    _trace_of: Callable[[Collection[str]], tuple[Traced, ...]] | None = PrivateAttr(default=None)

    def explained_by(
        self,
        makers: Mapping[str, Callable[[], tuple[Any, ...]]],
        trace_of: Callable[[Collection[str]], tuple[Traced, ...]] | None = None,
    ) -> Assessment:
        """Return this answer, with what makes each part of its detail when somebody asks for it.

        ``trace_of`` makes what the trace says of a few rules alone.
        """
        self._makers, self._made, self._trace_of = makers, {}, trace_of
        return self

    @property
    def detail(self) -> Detail:
        """All that only explains; of an answer that was read from JSON, nothing."""
        return Detail(**{name: self._part(name) for name in Detail.model_fields})

    def _part(self, name: str) -> tuple[Any, ...]:
        """Return one part of the detail, made once; asking for one makes no other."""
        made = self._made.get(name)
        if made is None:
            made = self._made[name] = self._makers[name]() if name in self._makers else ()
        return made

    @property
    def recommendations(self) -> tuple[Recommendation, ...]:
        """All that is proposed to be done, the most pressing first."""
        made = [one for group in self.do for one in group.items]
        return tuple(sorted(made, key=lambda one: PRIORITIES.index(one.priority)))

    @property
    def guidance(self) -> tuple[Recommendation, ...]:
        """All guidance that is owed."""
        return tuple(topic for heading in self.tell_family for topic in heading.topics)

    @property
    def answers(self) -> tuple[Answer, ...]:
        """How far each target is settled."""
        return self._part("answers")

    @property
    def steps(self) -> tuple[Step, ...]:
        """What is still open, by step of the examination."""
        return self._part("steps")

    @property
    def due(self) -> tuple[Due, ...]:
        """What is wanted at some age and not on record."""
        return self._part("due")

    @property
    def cannot_evaluate(self) -> tuple[NotEvaluated, ...]:
        """The rules that could not be read at all."""
        return self._part("cannot_evaluate")

    @property
    def conclusions(self) -> tuple[Concluded, ...]:
        """What the rules derived."""
        return self._part("conclusions")

    @property
    def choices(self) -> tuple[Choice, ...]:
        """Which of several recordings was used."""
        return self._part("choices")

    @property
    def trace(self) -> tuple[Traced, ...]:
        """What became of every rule."""
        return self._part("trace")

    def trace_of(self, rules: Collection[str]) -> tuple[Traced, ...]:
        """What became of these rules, named as in the trace and in its order."""
        if "trace" in self._made or self._trace_of is None:
            return tuple(one for one in self.trace if one.rule in rules)
        return self._trace_of(rules)

    def explain(self, name: str) -> Explanation:
        """Return what stands behind one rule (``eyes.red-reflex-abnormal``) or target (``ophthalmology``).

        Raises ValueError for a name that is neither, with the nearest ones.
        """
        made = (*self.recommendations, *self.to_chase, *self.avoid, *self.guidance, *self.reassurance, *self.standing)
        mine = tuple(one for one in made if one.target == name or any(r.rule == name for r in one.reasons))
        answers = tuple(one for one in self.answers if one.target == name)
        wanted = {name, *(reason.rule for one in mine for reason in one.reasons)}
        rules = tuple(one for one in self.trace if one.rule.partition("@")[0] in wanted)
        if not (mine or answers or rules):
            known = [*(one.rule for one in self.trace), *(one.target for one in self.answers)]
            near = ", ".join(get_close_matches(name, known, 3)) or "see `layette check --all`"
            raise ValueError(f"no rule or target '{name}' is known here; did you mean {near}")
        return Explanation(rules=rules, answers=answers, recommendations=mine)

    def to_json(self, indent: int | None = 2, *, detail: bool = False) -> str:
        """Return the published JSON form; equal visits give equal bytes. ``detail`` adds all that only explains."""
        return (self.with_detail() if detail else self).model_dump_json(indent=indent)

    def with_detail(self) -> DetailedAssessment:
        """Return the same answer with its detail as a part of its own."""
        fields = {name: getattr(self, name) for name in type(self).model_fields}
        return DetailedAssessment(**fields | {"explanation": self.detail})

    def __eq__(self, other: object) -> bool:
        """Whether two answers say the same; how they are explained follows from that."""
        if not isinstance(other, Assessment):
            return NotImplemented
        return all(getattr(self, name) == getattr(other, name) for name in Assessment.model_fields)

    __hash__ = None  # type: ignore[assignment]

    def __getstate__(self) -> dict[Any, Any]:
        """Give a pickle the detail itself, since what makes it stays with the pack."""
        made = {name: self._part(name) for name in Detail.model_fields}
        return {**super().__getstate__(), "__pydantic_private__": {"_makers": {}, "_made": made, "_trace_of": None}}

    def __repr__(self) -> str:
        """Say in a line whose answer it is, and what it says."""
        return f"<Assessment of {self.patient or 'a newborn'} at {self.at}: {self.verdict.text}>"

    __str__ = __repr__

    def _repr_html_(self) -> str | None:
        """Return the page for a notebook; None where nothing that makes pages is installed.

        The page stands above the engine, so it is found by its entry point, not by an import.
        """
        pages = entry_points(group="layette.page", name="html")
        return next((str(point.load()(self)) for point in pages), None)


class DetailedAssessment(Assessment):
    """An assessment with all that explains it, where that was asked for."""

    explanation: Detail | None = None
