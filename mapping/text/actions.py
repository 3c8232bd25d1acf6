"""What to do, in the order of urgency, each with when, why, by which rule and from which source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from layette.engine.answer.parts.assessment import Assessment, Citation, Reason, Recommendation
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
        group = [made for made in assessment.recommendations if made.priority == priority]
        if not group:
            continue
        page.heading(heading, priority if priority in ("stat", "asap") else "head")
        for made in group:
            number += 1
            _action(page, made, clock, f"{number:3}. ")
    if not assessment.recommendations:
        page.heading("NOTHING TO REFER, ORDER OR RECHECK IS DECIDED")
    if assessment.standing:
        page.heading("ALREADY ORDERED, DONE OR DECLINED (not proposed again)")
        for made in assessment.standing:
            page.put(_standing(made, clock), "  -  ")
    if assessment.avoid:
        page.heading("DO NOT")
        for made in assessment.avoid:
            _action(page, made, clock, "  -  ")


def _action(page: Page, made: Recommendation, clock: Clock, first: str) -> None:
    verb = "" if made.kind == "avoid" else f"{_VERBS.get(made.kind, made.kind)}: "
    side = f", {made.side.upper()}" if made.side else ""
    mother = " (the mother)" if made.subject == "mother" else ""
    when = "" if made.kind == "avoid" and not made.window.until else f" - {clock.window(made.window)}"
    page.put(sentence([f"{verb}{made.label}{side}{mother}{when}", _reserve(made)]), first)
    indent = " " * len(first)
    if made.do:
        page.put("Ask for: " + sentence(["; ".join(shown(made.do, 2, full=page.full))]), indent)
    if made.looks_at and page.full:
        page.put("Look at: " + "; ".join(made.looks_at) + ".", indent)
    for reason in made.reasons[: None if page.full else 1]:
        _why(page, reason, first, indent)
    more = 0 if page.full else len(made.reasons) - 1
    if more:
        page.put("Also: " + ", ".join(reason.rule for reason in made.reasons[1:]), indent)


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
