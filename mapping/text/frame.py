"""The head and the foot of the page: whom it is about, the verdict, and what holds for all of it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Citation, Recommendation, Used
from layette.mapping.text.about import About
from layette.mapping.text.clock import Clock, offset
from layette.mapping.text.headlines import headlines
from layette.mapping.text.layout import Page, counted, sentence
from layette.mapping.text.reasons import LEGEND
from layette.mapping.text.record import next_visit
from layette.mapping.text.values import value

_DIGITS = 8
_DIFFERING = "recorded more than once at one time, differing"
_EXCLUDE = "exclude each other"


def head(page: Page, assessment: Assessment, clock: Clock, about: About) -> None:
    """Write who, when, by which rules; what was measured; what contradicts itself."""
    who = ", ".join(part for part in (assessment.patient or "A newborn without a reference", about.child) if part)
    visit = f"Visit of {clock.tell(assessment.at, year=True)} ({offset(clock.at)})"
    page.heading(f"{who}, {assessment.age}. {visit}.")
    page.put(sentence(_rules(assessment, about)), "")
    line = headlines(assessment, clock, page.width).line
    if line:
        page.put(line, "")
    for line in (*_differing(assessment, clock), *exclusions(assessment)):
        page.put(line, "! ")


def _rules(assessment: Assessment, about: About) -> Iterator[str]:
    pack = assessment.pack
    digest = pack.digest.removeprefix("sha256:")[:_DIGITS]
    changed = ", changed from the shipped pack" if about.changed else ""
    read = "read twice" if len(assessment.readers) > 1 else "read once"
    yield f"Rule pack {pack.id} {pack.version} ({pack.jurisdiction}), digest {digest}{changed}, {read}"
    yield from (f"{one.label}: {one.choice}" for one in assessment.settings if one.id.endswith("_set"))


def conflicts(assessment: Assessment) -> dict[str, str]:
    """Return the warnings about values of one moment that differ, by the finding's label."""
    return {text.partition(f": {_DIFFERING}")[0]: text for text in assessment.warnings if _DIFFERING in text}


def exclusions(assessment: Assessment) -> list[str]:
    """Return the notices about proposals that exclude each other."""
    return [notice for notice in assessment.notices if _EXCLUDE in notice]


def _differing(assessment: Assessment, clock: Clock) -> Iterator[str]:
    chosen = {choice.used.label: choice.used for choice in assessment.choices if choice.used}
    several: dict[tuple[str, str | None], list[Used]] = {}
    for label, warning in conflicts(assessment).items():
        if label in chosen:
            several.setdefault((chosen[label].subject, chosen[label].time), []).append(chosen[label])
        else:
            yield warning
    for (_, time), alike in several.items():
        label = alike[0].label if len(alike) == 1 else alike[0].label.rpartition(", ")[0]
        told = ", ".join(f"{used.label.removeprefix(label).strip(', ')} {value(used)}".strip() for used in alike)
        when = f", both at {clock.hour(time)}" if time else ""
        yield f"{label}: {told}{when}. Either is acted on: check which is right."


def verdict(page: Page, assessment: Assessment, clock: Clock) -> None:
    """Write the answer in one sentence, and when to come back."""
    page.gap()
    page.put(assessment.verdict.text, "")
    topics = sum(len(group.topics) for group in assessment.tell_family)
    told = f"{counted(topics, 'thing', 'things')} to tell the family" if topics else None
    line = sentence([next_visit(assessment.verdict.next_visit, clock), told])
    if line:
        page.put(line, "")


def foot(page: Page, assessment: Assessment, *, brief: bool = False) -> None:
    """Write whom to call, the caution, what the marks mean, and who read the rules; ``brief``: no names of rules."""
    page.gap()
    if assessment.contacts:
        page.put("Contacts of this site: " + "; ".join(f"{k}: {v}" for k, v in assessment.contacts.items()) + ".", "")
    page.put(assessment.caution, "")
    page.put(LEGEND, "")
    if page.rules and not (page.full or brief):
        rules = ", ".join(f"{number} {rule}" for number, rule in page.rules.items() if rule)
        page.put(f"Rules: {rules}; the others, and all sources: --all.", "")
    if page.full:
        page.put(f"Read by {' and '.join(assessment.readers)}: {assessment.read}.", "")


def sources(page: Page, assessment: Assessment) -> None:
    """Write every source that the page names, once, and how far it was verified."""
    cited: dict[str, Citation] = {}
    for source in _cited(assessment):
        cited.setdefault(source.id, source)
    page.section("SOURCES", [f"{one.id} ({one.kind}): {one.text}" for _, one in sorted(cited.items())])


def _cited(assessment: Assessment) -> Iterator[Citation]:
    groups: Iterable[Iterable[Recommendation]] = (
        assessment.recommendations, assessment.to_chase, assessment.avoid, assessment.guidance, assessment.reassurance,
    )  # fmt: skip
    yield from (source for group in groups for one in group for reason in one.reasons for source in reason.sources)
    yield from (source for due in assessment.due for source in due.sources)
    yield from (one.source for one in assessment.measures if one.source)
