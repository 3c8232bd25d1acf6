"""The sentences that go along with a proposal: why, by which rule, from which source, and with what reserve."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from layette.engine.answer.shapes.proposed import Citation, Reason, Recommendation

_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f]")

MARKS: Mapping[str, str] = {
    "from-memory": "from memory",
    "our-reading": "our reading",
    "common-practice": "common practice",
    "published": "",
}
"""How far a source was verified, in words; a published source needs none."""


def as_notes(texts: Iterable[str]) -> list[dict[str, str]]:
    """Return Annotations without empty ones and without repeats."""
    return [{"text": text} for text in dict.fromkeys(map(clean, texts)) if text.strip()]


def clean(text: str) -> str:
    """Return text with a mark for each control character, which FHIR does not allow in a string."""
    return _CONTROL.sub("\N{REPLACEMENT CHARACTER}", text)


def cited(sources: Iterable[Citation]) -> str:
    """Return the sources with their marks, as one phrase; a reading of our own is told by its mark alone."""
    return "; ".join(_marked(one) for one in sources)


def _marked(one: Citation) -> str:
    mark = f"[{MARKS[one.kind]}]" if MARKS[one.kind] else ""
    return mark if one.kind == "our-reading" else f"{one.text} {mark}".strip()


def reason(one: Reason) -> str:
    """Return one reason as a paragraph."""
    return f"{one.because} {behind(one)}".strip()


def behind(one: Reason) -> str:
    """Return what stands behind a reason: rule, source, what it hangs on; empty where no rule does."""
    rule = f"Rule: {one.rule} ({one.title}). Source: {cited(one.sources)}." if one.rule else ""
    since = f"{one.since[:1].upper()}{one.since[1:]}." if one.since else ""
    unless = f"This holds unless recorded: {'; '.join(one.unless)}." if one.unless else ""
    return " ".join(part for part in (rule, since, unless) if part)


def reserve(recommendation: Recommendation) -> list[str]:
    """Return what a reader must know beside the reasons: open priority, lateness, orders that stand."""
    sentences = [f"When: {recommendation.window.text}."] if recommendation.window.text else []
    if recommendation.certain != recommendation.priority:
        sure = recommendation.certain or "none"
        sentences.append(f"Provisional: proposed as {recommendation.priority}; certain whatever is still open: {sure}.")
    if recommendation.window.overdue:
        sentences.append("The time for this is past; act from now on.")
    if recommendation.window.missing:
        sentences.append(
            f"The time is counted from the visit, because this is not known: {recommendation.window.missing}."
        )
    return [*sentences, *placed(recommendation)]


def placed(recommendation: Recommendation) -> list[str]:
    """Return a sentence about an order that stands already."""
    order = recommendation.placed
    if order is None:
        return []
    what = f"A request for the same ({order.reference or 'without a reference'}) stands as {order.status}"
    urgency = f"{order.priority or 'routine'}"
    if order.overdue and order.status != "draft":
        since = f" of {order.time}" if order.time else ""
        return [f"{what}{since}, with priority {urgency}, and was due by {order.until}: chase it."]
    if order.status in ("active", "on-hold"):
        return [f"{what} with priority {urgency}; it is left untouched. This proposal is {recommendation.priority}."]
    return [f"{what}, priority {urgency}."]


def title(recommendation: Recommendation) -> str:
    """Return what is proposed, with its side."""
    return recommendation.label + (f", {recommendation.side}" if recommendation.side else "")
