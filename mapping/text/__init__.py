"""The answer as one page of text: a verdict, what to do by when, what to look at, what to tell; the rest on request."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack
from layette.mapping.text import actions, background, family, frame, record, ticks
from layette.mapping.text.about import About
from layette.mapping.text.clock import Clock
from layette.mapping.text.layout import Page, tidy

__all__ = ["render", "tidy"]

HEALTHY, SICK = 45, 70
"""Lines of a page: of a newborn of whom nothing presses and next to nothing is left to look at, and of any other."""

FEW_OPEN = 10
"""Questions that may be open of a newborn who counts as wholly looked at."""


def render(
    assessment: Assessment,
    *,
    width: int = 100,
    colour: bool = False,
    full: bool = False,
    pack: Pack | None = None,
    visit: Mapping[str, Any] | None = None,
    awaited: Collection[str] = (),
    counts: Mapping[str, int] | str | None = None,
    language: str = "en",
) -> str:
    """Return the page for a clinician, no line wider than ``width`` columns (at least 40).

    ``colour`` adds ANSI colour that repeats what the headings say. ``full`` shows every list to its end, and every
    reason, rule and source. The ``pack`` and the flat ``visit`` that it assessed give the sex, the order and the names
    of the steps, and whether the pack is the one that ships; without them ``awaited`` names the findings that are
    results to wait for. ``counts`` says what became of the entries of the input. ``language`` (with a ``pack``) is that
    of what the family is told; the rest of the page is for the clinician, in English.
    """
    about = About(awaited=awaited) if pack is None else About.of(pack, visit, language)
    limit = SICK if assessment.verdict.pressing or _open(assessment) > FEW_OPEN else HEALTHY
    for talk, behind in ((3, True), (2, True), (1, True), (0, True), (0, False)):
        page = Page(max(width, 40), colour, full, talk=talk)
        _write(page, assessment, about, _counts(counts), limit, behind=behind)
        if full or len(page.lines) <= limit:
            break
    return page.text()


def _open(assessment: Assessment) -> int:
    return sum(len(step.questions) for step in assessment.steps)


def _write(page: Page, assessment: Assessment, about: About, counts: str, limit: int, *, behind: bool) -> None:
    clock = Clock.of(assessment.at)
    frame.head(page, assessment, clock, about)
    frame.verdict(page, assessment, clock)
    actions.write(page, assessment, clock)
    record.not_on_record(page, assessment, clock, about)
    record.come_back(page, assessment, clock, about)
    family.tell(page, assessment, clock, about.speech)
    place = len(page.lines)
    _lower(page, assessment, clock, about, counts, behind=behind)
    # what is said to the family gives way to what is to be examined; only then does that become shorter
    ticks.write(page, assessment, about, place, ticks.MOST if page.talk else limit - len(page.lines))


def _lower(page: Page, assessment: Assessment, clock: Clock, about: About, counts: str, *, behind: bool) -> None:
    if not page.full:
        page.gap()
    family.normal(page, assessment, clock, about.speech)
    if behind:
        background.measures(page, assessment, clock)
        background.changed(page, assessment, clock)
    else:
        page.strip("MEASURES, CHANGES", ["on the full page (--all)"], 1)
    background.about_the_input(page, assessment, clock, counts, brief=not behind)
    if page.full:
        record.wanted(page, assessment.due, clock, about)
        background.worked_out(page, assessment)
        frame.sources(page, assessment)
    frame.foot(page, assessment, brief=not behind)


def _counts(counts: Mapping[str, int] | str | None) -> str:
    if counts is None or isinstance(counts, str):
        return counts or ""
    return ", ".join(f"{name} {number}" for name, number in counts.items())
