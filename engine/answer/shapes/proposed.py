"""What is proposed, judged or wanted at a visit, with the reasons and sources that stand behind it.

Times are ISO 8601 text in the offset of the visit; numbers are text in the digits that they deserve, with their unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import Field

from layette.engine.answer.shapes.part import LatePart, Part, made_late
from layette.engine.terms import Kind, Priority


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


@made_late("values", "unless")
class Reason(LatePart):
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
