"""What to tell the family, and what is normal at this age."""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.answer.parts.assessment import Assessment, Recommendation
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import listed, named, short
from layette.mapping.text.layout import Page, sentence
from layette.mapping.text.reasons import marks, names

_COLUMN = 12
_LINES = 2


def tell(page: Page, assessment: Assessment, clock: Clock) -> None:
    """Write the guidance owed, a row each heading; every word of it if the page is full."""
    if not assessment.tell_family:
        return
    page.heading("TO TELL THE FAMILY" + ("" if page.full else " (--all: the words)"))
    if not (page.full or page.talk):
        headings = [f"{group.heading} ({len(group.topics)})" for group in assessment.tell_family]
        page.put(page.fitted(headings, 1))
        return
    for group in assessment.tell_family:
        if page.full:
            page.put(group.heading)
            _words(page, group.topics, clock)
        else:
            page.row(group.heading, listed(map(named, group.topics)), _COLUMN, page.talk)


def normal(page: Page, assessment: Assessment, clock: Clock) -> None:
    """Write what was found and is normal, with what to say of it if the page is full."""
    if not assessment.reassurance:
        return
    if page.full:
        page.heading("NORMAL AT THIS AGE")
        _words(page, assessment.reassurance, clock)
    else:
        page.strip(
            "NORMAL AT THIS AGE",
            [short(name) for name in listed(map(named, assessment.reassurance))],
            max(page.talk, _LINES),
        )


def _words(page: Page, given: Sequence[Recommendation], clock: Clock) -> None:
    for one in given:
        when = clock.window(one.window) if one.window.until else None
        page.put(sentence([f"{named(one)}: {one.plain.get('en') or one.reasons[0].because}", when]), "   - ")
        for reason in one.reasons:
            page.put(f"({names(reason)}){marks(reason.sources)}", "     ")
