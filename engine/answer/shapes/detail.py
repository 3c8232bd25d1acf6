"""All that only explains an answer: how far targets are settled, what is open, what became of every rule."""

from __future__ import annotations

from typing import Literal

from layette.engine.answer.shapes.part import Part
from layette.engine.answer.shapes.proposed import Due, Recommendation, Used
from layette.engine.terms import Kind, Priority


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


class NotEvaluated(Part):
    """A rule that could not be read at all, and why (no threshold table, another issuer's thresholds)."""

    rule: str
    title: str
    why: str
    priority: Priority | None


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
