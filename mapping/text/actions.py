"""What to do, in the order of urgency, each with when, why, by which rule and from which source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from layette.engine.answer.assessment import Assessment, Citation, Reason, Recommendation
from layette.mapping.text.layout import Clock, Page, sentence, shown

GROUPS: tuple[tuple[str, str], ...] = (
    ("stat", "NOW (stat)"),
    ("asap", "TODAY (asap)"),
    ("urgent", "THIS WEEK (urgent)"),
    ("routine", "LATER (routine)"),
)
"""FHIR's priorities and what they are called on the page."""

_VERBS: Mapping[str, str] = {"refer": "Refer", "order": "Order", "recheck": "Recheck", "avoid": "Do not"}
_MARKS: Mapping[str, str] = {
    "from-memory": "[memory]",
    "our-reading": "[our reading]",
    "common-practice": "[common practice]",
}


def write(page: Page, assessment: Assessment, clock: Clock) -> None:
    """Write all that is proposed; nothing of it is ever cut."""
    number = 0
    for priority, heading in GROUPS:
        found = [one for one in assessment.recommendations if one.priority == priority]
        if not found:
            continue
        page.heading(heading, priority if priority in ("stat", "asap") else "head")
        for one in found:
            number += 1
            _action(page, one, clock, f"{number:3}. ")
    if not assessment.recommendations:
        page.heading("NOTHING TO REFER, ORDER OR RECHECK IS DECIDED")
    if assessment.standing:
        page.heading("ALREADY ORDERED, DONE OR DECLINED (not proposed again)")
        for one in assessment.standing:
            page.put(_standing(one, clock), "  -  ")
    if assessment.avoid:
        page.heading("DO NOT")
        for one in assessment.avoid:
            _action(page, one, clock, "  -  ")


def _action(page: Page, one: Recommendation, clock: Clock, first: str) -> None:
    verb = "" if one.kind == "avoid" else f"{_VERBS.get(one.kind, one.kind)}: "
    side = f", {one.side.upper()}" if one.side else ""
    mother = " (the mother)" if one.subject == "mother" else ""
    when = "" if one.kind == "avoid" and not one.window.until else f" - {clock.window(one.window)}"
    page.put(sentence([f"{verb}{one.label}{side}{mother}{when}", _reserve(one)]), first)
    indent = " " * len(first)
    if one.do:
        page.put("Ask for: " + sentence(["; ".join(shown(one.do, 2, full=page.full))]), indent)
    if one.looks_at and page.full:
        page.put("Look at: " + "; ".join(one.looks_at) + ".", indent)
    for reason in one.reasons[: None if page.full else 1]:
        _why(page, reason, first, indent)
    more = 0 if page.full else len(one.reasons) - 1
    if more:
        page.put("Also: " + ", ".join(reason.rule for reason in one.reasons[1:]), indent)


def _standing(one: Recommendation, clock: Clock) -> str:
    side = f", {one.side.upper()}" if one.side else ""
    order = one.placed
    if order is None:
        return f"{one.label}{side}: done"
    state = f"{order.status} since {clock.tell(order.time)}" if order.time else order.status
    late = f", OVERDUE since {clock.tell(order.until)}: no result on record" if order.overdue and order.until else ""
    return f"{one.label}{side}: {state}, {order.priority or 'no priority given'}{late} ({one.reasons[0].rule})"


def _why(page: Page, reason: Reason, first: str, indent: str) -> None:
    """Write a reason once; where it stands already, name the item under which it does."""
    text = why(reason, full=page.full)
    before = page.told.setdefault(text, first.strip(" .-"))
    if page.full or before in ("", first.strip(" .-")):
        page.put(text, indent)
    else:
        page.put(f"Why: as {before} ({reason.rule}).", indent)


def _reserve(one: Recommendation) -> str | None:
    parts = []
    if one.certain != one.priority:
        parts.append("Provisional" + (f", at least {one.certain}" if one.certain else ""))
    if one.window.missing:
        parts.append(f"Counted from the visit, because {one.window.missing} is not known")
    if one.placed:
        parts.append(f"Already on record as {one.placed.status}, {one.placed.priority or 'no priority given'}")
    return sentence(parts) or None


def why(reason: Reason, *, full: bool = False) -> str:
    """Return one reason: the sentence, what would replace it, the rule, the sources, and their marks."""
    unless = f"Unless recorded: {'; '.join(reason.unless)}" if reason.unless else None
    names = ", ".join([reason.rule, *sources(reason.sources, full=full)])
    return f"{sentence([reason.because, unless])} ({names}){marks(reason.sources)}"


def sources(given: Iterable[Citation], *, full: bool = False) -> list[str]:
    """Return the short names of the sources; those that a mark stands for only where all is shown."""
    return [one.id for one in given if full or one.kind not in ("from-memory", "our-reading")]


def marks(given: Iterable[Citation]) -> str:
    """Return how far the sources were verified, where that is less than read in print."""
    found = dict.fromkeys(_MARKS[one.kind] for one in given if one.kind in _MARKS)
    return "".join(f" {mark}" for mark in found)
