"""The shapes of rules, of what they lead to, and of tables whose rows are rules, as they are written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import Field, model_validator

from layette.engine.exact.units import seconds
from layette.engine.pack.written.shape import Name, Shape
from layette.engine.pack.written.shapes import (
    Amount,
    Category,
    CodeValue,
    Condition,
    Elapsed,
    Offset,
    Reviewed,
    RuleId,
    SourceShape,
    Words,
    listed,
)
from layette.engine.terms import PRIORITIES, VERBS, Bound, Kind, Priority


class WindowShape(Shape):
    """When something is to be done, counted from an anchor."""

    after: str = "visit"
    start: Offset | None = Field(default=None, alias="from")
    until: Offset | None = None
    source: str | None = None


class FirstOf(Shape):
    """The earliest of several windows."""

    first_of: list[WindowShape]


class Consequence(Shape):
    """One consequence of a rule: exactly one verb, with its priority and window."""

    refer: Name | None = None
    order: Name | None = None
    recheck: Name | None = None
    judge: Name | None = None
    guide: Name | None = None
    reassure: Name | None = None
    avoid: Name | None = None
    conclude: Name | None = None
    priority: Priority | None = None
    within: Amount | None = None
    window: WindowShape | FirstOf | None = None
    do: list[str] = Field(default_factory=list)
    if_still: bool = False
    source: str | list[str] | None = None

    @property
    def verbs(self) -> tuple[str, ...]:
        """All verbs that are written, `conclude` among them; a sound consequence has exactly one."""
        return tuple(verb for verb in (*VERBS, "conclude") if getattr(self, verb) is not None)

    @property
    def verb(self) -> Kind | None:
        """What is asked for; None where the rule only concludes."""
        return next((verb for verb in VERBS if getattr(self, verb) is not None), None)

    @property
    def target(self) -> str:
        """What it is about: a target, or a conclusion."""
        return str(getattr(self, self.verb) if self.verb else self.conclude)

    @property
    def rank(self) -> int:
        """The place of its priority, 0 for `stat`; without one it is routine."""
        return PRIORITIES.index(self.priority or "routine")


class Wanted(Shape):
    """What counts as having something: used by `due`, a target's `satisfied_by` and a topic's `given_by`."""

    status: list[str] = Field(default_factory=list)
    where: dict[Literal["age"], dict[Bound, Elapsed]] | None = None
    again_after: Amount | None = None


class DiagnosisShape(Shape):
    """What a rule's finding states by itself, to be proposed as a diagnosis: words and, where verified, codes."""

    label: str
    codes: dict[str, CodeValue] = Field(default_factory=dict)


class RuleShape(Shape):
    """One rule: `when` -> `then`, with `because` and `source`.

    ``diagnosis`` is proposed along with what the rule recommends, never confirmed. ``reviewed``: by whom the rule was
    compared with its sources; that is apart from how far the sources were verified. ``if_ordered``: it is about results
    that somebody has to order, and is not open as long as nobody did.
    """

    id: RuleId
    title: str
    if_ordered: bool = False
    applies_when: Condition | None = None
    each: Literal["side"] | None = None
    when: Condition | None = None
    unless: Condition | None = None
    due: Name | list[Name] | None = None
    window: WindowShape | FirstOf | None = None
    where: dict[Literal["age"], dict[Bound, Elapsed]] | None = None
    then: Annotated[list[Consequence], Field(min_length=1)]
    instead_of: list[RuleId] = Field(default_factory=list)
    diagnosis: DiagnosisShape | None = None
    because: str
    source: str | list[str]
    reviewed: Reviewed | None = None
    note: str | None = None

    @property
    def sources(self) -> tuple[str, ...]:
        """The names of the rule's own sources."""
        return tuple(listed(self.source))

    @property
    def all_sources(self) -> tuple[str, ...]:
        """The names of the sources of the rule and of its single consequences, each once."""
        return tuple(dict.fromkeys([*self.sources, *(s for then in self.then for s in listed(then.source))]))

    def rests_on(self, sources: Mapping[str, SourceShape]) -> frozenset[str]:
        """Return the kinds of all sources of the rule (``from-memory`` and so on)."""
        return frozenset(sources[name].kind for name in self.all_sources if name in sources)

    @model_validator(mode="after")
    def _diagnosis_goes_along(self) -> RuleShape:
        if self.diagnosis and all(consequence.conclude for consequence in self.then):
            raise ValueError("a diagnosis goes out with a recommendation, and this rule only concludes")
        return self


class TargetShape(Shape):
    """What a recommendation is about. ``plain`` are the words for the family, by language.

    ``conclusion`` targets do not exist: a conclusion is a finding that rules derive, declared by `conclude`.
    ``met_by``: the more particular targets that do this one too. Not ``sided``: one act, whatever side it is for.
    ``private``: said by a person, alone; it never stands on paper that goes home.
    ``foremost``: the first of what is due at one moment, such as the place where a sick baby is taken.
    """

    kind: Kind
    label: str
    subject: Literal["baby", "mother"] = "baby"
    codes: dict[str, CodeValue] = Field(default_factory=dict)
    category: Category | None = None
    performer: str | None = None
    satisfied_by: list[Wanted] = Field(default_factory=list)
    conflicts_with: list[Name] = Field(default_factory=list)
    met_by: list[Name] = Field(default_factory=list)
    sided: bool = True
    episode: Literal["once", "per_visit", "per_anchor"] = "once"
    plain: Words = Field(default_factory=dict)
    recheck_of: list[Name] = Field(default_factory=list)
    private: bool = False
    foremost: bool = False


class RowsHeader(Shape):
    """The header of a table whose rows are rules: `tables/<stem>.yaml`, with `<stem>.csv` beside it.

    Each row is the rule `<stem>.<row's id>`: ``subject`` from the column ``at_least`` (included) to the column
    ``below`` (not included), together with ``when``. An empty cell is open. ``columns`` names the columns that give a
    row its own title, priority, ``within`` or target; the rest is common. ``edges`` says which side an edge was given.
    """

    kind: Literal["rows"]
    title: str
    subject: str
    at_least: str
    below: str
    id: str = "id"
    columns: dict[Literal["title", "priority", "within", "target", "because"], str] = Field(default_factory=dict)
    applies_when: Condition | None = None
    when: Condition | None = None
    verb: Literal["refer", "order", "recheck", "avoid"]
    target: Name | None = None
    priority: Priority | None = None
    within: Amount | None = None
    because: str
    source: str | list[str]
    reviewed: Reviewed | None = None
    status: str
    edges: str


def windows_of(window: WindowShape | FirstOf | None) -> tuple[WindowShape, ...]:
    """Return the single windows that a written window consists of."""
    if window is None:
        return ()
    return tuple(window.first_of) if isinstance(window, FirstOf) else (window,)


def rough(text: str) -> int:
    """Return an amount in seconds for comparison alone; a calendar month counts 28 days."""
    return int(text.split()[0]) * 28 * 86400 if text.endswith(" mo") else seconds(text)
