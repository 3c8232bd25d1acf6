"""Why: what was found, one sentence, and behind a short mark how far the source was verified."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Citation, Reason, Recommendation
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import short
from layette.mapping.text.layout import Page, sentence
from layette.mapping.text.values import dated, found

MARKS: Mapping[str, str] = {"from-memory": "m", "our-reading": "r", "common-practice": "c"}
LEGEND = "(m) from memory, (r) our own reading, (c) common practice: see the primary document before use."
CONCLUDED = "concluded by rules"
_FEW = 2
_SHORT = 40
_MANY = 3
_OPEN = "Unless {} findings that are still open say otherwise (--all)"


def marks(given: Iterable[Citation]) -> str:
    """Return how far sources were verified, where that is less than read in print: `` (m, r)``."""
    kinds = {one.kind for one in given}
    letters = [mark for kind, mark in MARKS.items() if kind in kinds]
    return f" ({', '.join(letters)})" if letters else ""


def names(reason: Reason) -> str:
    """Return the rule and its sources by name."""
    sources = ", ".join(one.id for one in reason.sources)
    return "; ".join(part for part in (reason.rule, sources) if part)


def findings(reason: Reason, assessment: Assessment, clock: Clock) -> list[str]:
    """Return what was found that fires a rule, the first few; neither settings nor what rules concluded of it."""
    ages = {one.id for one in assessment.measures if not one.derived_from}
    seen = [
        used for used in reason.values
        if not used.subject.startswith("setting:") and used.note != CONCLUDED and used.subject not in ages
    ]  # fmt: skip
    by_label: dict[str, dict[str, None]] = {}
    for used in seen:
        by_label.setdefault(short(used.label), {})[dated(used, clock)] = None
    told = [f"{label}: {' and '.join(values)}" for label, values in by_label.items()]
    concluded = any(used.note == CONCLUDED for used in reason.values)  # what is the rule's own comes last
    return told[-_FEW:] if concluded else told[:_FEW]


def brief(made: Recommendation, assessment: Assessment, clock: Clock) -> str:
    """Return the first reason in a line: what was found, and why that asks for something."""
    reason = made.reasons[0]
    seen = "; ".join(findings(reason, assessment, clock))
    return sentence([seen, reason.because])


def once(page: Page, text: str, number: int) -> str:
    """Return a reason, or the number of the item under which it stands already."""
    before = page.told.setdefault(text, number)
    return text if before == number else f"Why: as {before}."


def whole(page: Page, made: Recommendation, indent: str, clock: Clock) -> None:
    """Write every reason to its end: values, what would replace it, rule, sources, marks."""
    for reason in made.reasons:
        values = "; ".join(dict.fromkeys(found(used, clock) for used in reason.values))
        unless = f"Unless recorded: {'; '.join(reason.unless)}" if reason.unless else None
        proposes = f"Proposes: {reason.diagnosis.label}" if reason.diagnosis else None
        page.put(sentence([reason.because, unless, proposes]) + f" ({names(reason)}){marks(reason.sources)}", indent)
        if values:
            page.put(f"Found: {values}.", indent)


def reserve(one: Recommendation, *, full: bool) -> str | None:
    """Return what is not certain about a proposal, and what is on record already."""
    parts = []
    unless = one.reasons[0].unless
    if one.certain != one.priority and unless and not full:
        named = "; ".join(unless)
        several = "Unless already on record" if len(unless) < _MANY else _OPEN.format(len(unless))
        parts.append(f"Unless recorded: {named}" if len(named) <= _SHORT else several)
    elif one.certain != one.priority:
        parts.append("Provisional" + (f", at least {one.certain}" if one.certain else ""))
    if one.window.missing:
        parts.append(f"Counted from the visit: {one.window.missing.replace('_', ' ')}")
    if one.placed and (full or one.placed.status != "draft"):
        parts.append(f"On record as {one.placed.status}, {one.placed.priority or 'no priority given'}")
    return sentence(parts) or None
