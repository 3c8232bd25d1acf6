"""The answer as a short page of text, in the order of urgency."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from layette.engine.answer.parts.assessment import Assessment
from layette.mapping.text import actions, background, outstanding
from layette.mapping.text.layout import Clock, Page, offset, tidy

__all__ = ["render", "tidy"]


def render(
    assessment: Assessment,
    *,
    width: int = 100,
    colour: bool = False,
    full: bool = False,
    awaited: Collection[str] = (),
    counts: Mapping[str, int] | str | None = None,
) -> str:
    """Return a summary for a clinician, no line wider than ``width`` columns (at least 40).

    ``colour`` adds ANSI colour that repeats what the headings say. ``full`` shows every list to its end.
    ``awaited`` names the findings that are results to wait for rather than steps of the examination.
    ``counts`` says what became of the entries of the input.
    """
    page = Page(max(width, 40), colour, full)
    clock = Clock.of(assessment.at)
    _head(page, assessment, clock)
    actions.write(page, assessment, clock)
    outstanding.write(page, assessment, clock, awaited)
    background.write(page, assessment)
    _foot(page, assessment, counts)
    return page.text()


def _head(page: Page, assessment: Assessment, clock: Clock) -> None:
    who = assessment.patient or "a newborn without a reference"
    visit = f"visit of {clock.tell(assessment.at, year=True)} ({offset(clock.at)})"
    page.heading(f"{who}, age {assessment.age}; {visit}")
    sets = [f"{one.label}: {one.choice}" for one in assessment.settings if one.id.endswith("_set")]
    pack = assessment.pack
    page.put("; ".join([f"Rule pack {pack.id} {pack.version} ({pack.jurisdiction})", *sets]), "")


def _foot(page: Page, assessment: Assessment, counts: Mapping[str, int] | str | None) -> None:
    page.lines.append("")
    page.put(f"Read by {' and '.join(assessment.readers)}: {assessment.read}.", "")
    if counts:
        page.put(counts if isinstance(counts, str) else ", ".join(f"{k} {v}" for k, v in counts.items()), "")
    if assessment.contacts:
        page.put("Contacts of this site: " + "; ".join(f"{k}: {v}" for k, v in assessment.contacts.items()) + ".", "")
    page.put(assessment.caution, "")
