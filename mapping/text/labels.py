"""What things are called on the page: short, with their side, and with the mother named where she is meant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from layette.engine.answer.shapes.detail import Question
from layette.engine.answer.shapes.proposed import Recommendation, ToJudge

_BRACKETS = re.compile(r"\s*\([^()]*\)")
_REASONS = {
    "asked-declined": "declined", "not-performed": "not done", "unknown": "not known", "temp-unknown": "not yet known",
    "asked-unknown": "asked, not known",
}  # fmt: skip
"""FHIR's reasons for a value that is not there, where people say them otherwise."""


def named(one: Recommendation | ToJudge) -> str:
    """Return what is asked for, on which side, and for whom where that is not the baby."""
    side = f", {one.side}" if one.side else ""
    mother = " (the mother)" if one.subject == "mother" and "mother" not in one.label.lower() else ""
    return f"{one.label}{side}{mother}"


def asked(one: Recommendation) -> str:
    """Return what is asked for as an instruction; a referral says so."""
    return f"Refer: {named(one)}" if one.kind == "refer" else named(one)


def short(label: str) -> str:
    """Return a label without what it explains in brackets."""
    return _BRACKETS.sub("", label) or label


def listed(labels: Iterable[str]) -> list[str]:
    """Return labels for a list in a row, each once."""
    return list(dict.fromkeys(labels))


def look(questions: Sequence[Question]) -> str:
    """Return what to look at: one finding, its side only where the other is not asked for, and why it is still open."""
    first = questions[0]
    label = first.label.removesuffix(f", {first.side}") if first.side else first.label
    sides = {question.side for question in questions}
    side = f", {first.side}" if first.side and len(sides) == 1 else ""
    return short(label) + side + still_open(first)


def still_open(one: Question) -> str:
    """Return why something is open that was not simply left out."""
    if one.state == "not examined":
        return ""
    reason = _REASONS.get(one.reason or "", (one.reason or "").replace("-", " "))
    if one.state == "attempted":
        return f" (tried: {reason})" if reason else " (tried)"
    return f" (not exact enough: {reason})" if reason else " (not exact enough)"
