"""The answer for one visit, as plain data.

Everything here is frozen, ordered and printable, so that the same visit gives the same bytes. Times are
ISO 8601 text in the offset of the visit; numbers are text in the digits that they deserve, with their unit.
`Assessment.to_json` is the published form (`schemas/assessment.schema.json`).
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from difflib import get_close_matches
from importlib.metadata import entry_points
from typing import Any

from pydantic import Field, PrivateAttr

from layette.engine.answer.shapes.detail import (
    Answer,
    Choice,
    Concluded,
    Detail,
    Explanation,
    NotEvaluated,
    Step,
    Traced,
)
from layette.engine.answer.shapes.part import LatePart, Part, made_late
from layette.engine.answer.shapes.proposed import Citation, Code, Due, Recommendation, ToJudge, Used
from layette.engine.answer.shapes.used import PackUsed, SettingUsed
from layette.engine.terms import PRIORITIES, Deadline

SCHEMA_VERSION = 2


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
    """The answer in one sentence, and the numbers in it; ``to_judge`` counts values, each once.

    ``unread`` counts the findings of which a value came along that could not be read, and on which `stat` or `asap` may
    hang; ``not_read`` names them. ``unknown`` is what the record says of this visit, in its own words, where nothing
    tells of which finding: nobody knows whether it presses. ``names_mother``: one of these is about the mother.
    """

    text: str
    pressing: bool
    now: int
    by_tomorrow: int
    to_judge: int
    unread: int = 0
    not_read: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    names_mother: bool = False
    next_visit: ComeBack | None


class Topics(Part):
    """Guidance owed under one heading."""

    heading: str
    topics: tuple[Recommendation, ...]


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


class Compared(Part):
    """A finding of this visit beside its value at the last other visit."""

    finding: str
    label: str
    earlier: Used
    now: Used
    changed: bool


@made_late("measures", "compared", "tell_family")
class Assessment(LatePart):
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
