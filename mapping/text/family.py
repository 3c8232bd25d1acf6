"""What to tell the family, and what is normal at this age."""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Recommendation
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import listed, named, short
from layette.mapping.text.layout import Page, sentence
from layette.mapping.text.reasons import marks, names
from layette.mapping.words.speech import Speech

_COLUMN = 12
_LINES = 2


def tell(page: Page, assessment: Assessment, clock: Clock, speech: Speech | None = None) -> None:
    """Write the guidance owed, a row each heading; every word of it if full. ``speech``: in its language."""
    if not assessment.tell_family:
        return
    page.heading("TO TELL THE FAMILY" + _in_language(speech) + ("" if page.full else " (--all: the words)"))
    if not (page.full or page.talk):
        headings = [f"{_heading(group.heading, speech)} ({len(group.topics)})" for group in assessment.tell_family]
        page.put(page.fitted(headings, 1))
        return
    for group in assessment.tell_family:
        if page.full:
            page.put(_heading(group.heading, speech))
            _words(page, group.topics, clock, speech)
        else:
            topics = listed(_topic(one, speech) for one in group.topics)
            page.row(_heading(group.heading, speech), topics, _COLUMN, page.talk)


def normal(page: Page, assessment: Assessment, clock: Clock, speech: Speech | None = None) -> None:
    """Write what was found and is normal, with what to say of it if the page is full."""
    if not assessment.reassurance:
        return
    if page.full:
        page.heading("NORMAL AT THIS AGE" + _in_language(speech))
        _words(page, assessment.reassurance, clock, speech)
    else:
        page.strip(
            "NORMAL AT THIS AGE",
            [short(name) for name in listed(_topic(one, speech) for one in assessment.reassurance)],
            max(page.talk, _LINES),
        )


def _words(page: Page, given: Sequence[Recommendation], clock: Clock, speech: Speech | None) -> None:
    for one in given:
        when = clock.window(one.window) if one.window.until else None
        words = one.plain.get(speech.language if speech else "en") or one.plain.get("en") or one.reasons[0].because
        page.put(sentence([f"{_topic(one, speech)}: {words}", when]), "   - ")
        for reason in one.reasons:
            page.put(f"({names(reason)}){marks(reason.sources)}", "     ")


def _in_language(speech: Speech | None) -> str:
    """Return what a heading says of words in another language: nobody hands them out before they were read."""
    if speech is None:
        return ""
    unread = ": [awaits review] is not for the family yet" if speech.awaits_review else ""
    return f", in {speech.language}{unread}"


def _heading(words: str, speech: Speech | None) -> str:
    return words if speech is None else speech.heading(words)


def _topic(one: Recommendation, speech: Speech | None) -> str:
    return named(one) if speech is None else speech.topic(one.target, one.label) + named(one).removeprefix(one.label)
