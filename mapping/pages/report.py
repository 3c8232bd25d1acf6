"""The visit report: one self-contained page that a clinician reads in half a minute, two when printed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from markupsafe import Markup

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.shapes.proposed import Citation, Recommendation, ToJudge
from layette.engine.api import Pack
from layette.engine.visit.visit import Visit
from layette.mapping.pages.asked import Group, groups, standing
from layette.mapping.pages.exam.privacy import room
from layette.mapping.pages.figures.bilirubin import bilirubin
from layette.mapping.pages.figures.calendar import calendar
from layette.mapping.pages.figures.course import weight_course
from layette.mapping.pages.figures.drawing import Figure
from layette.mapping.pages.figures.examination import examination
from layette.mapping.pages.figures.growth import growth, not_on_centiles
from layette.mapping.pages.frame import filled, print_size, style
from layette.mapping.pages.seen import as_expected
from layette.mapping.text.about import About
from layette.mapping.text.clock import Clock, offset
from layette.mapping.text.frame import conflicts, exclusions
from layette.mapping.text.labels import listed, named, short
from layette.mapping.text.reasons import LEGEND
from layette.mapping.text.record import next_visit
from layette.mapping.text.values import dated, is_telling, measured, units

PRINTED = (8.0, 6.6)
"""The size of the type on paper, and the least to which it goes for a very sick baby."""
ROOM = 14_000
"""Letters that two pages hold, as `_size` counts."""
_OF_A_LINE, _OF_A_FIGURE = 150, 400
_NOT_READ = re.compile(r"<style.*?</style>|<svg.*?</svg>|<table.*?</table>|<[^>]+>", re.DOTALL)
_SYSTEM = re.compile(r"https?://[^\s|]+\|")
"""The address of a code system, which tells a reader nothing beside its code."""
_DIGITS = 8
_QUOTED = 400
"""Letters of what somebody said that stand on the report; the record has the rest."""


def report(assessment: Assessment, pack: Pack, flat: Mapping[str, Any]) -> str:
    """Return the report as HTML that needs nothing else: style and figures stand in it.

    ``assessment`` is the answer of ``pack`` for the ``flat`` visit. Words are for the clinician, in English.
    """
    visit, clock = pack.read_visit(flat, assessment.at), Clock.of(assessment.at)
    about = About.of(pack, flat)
    asked, remarks = groups(assessment, clock), [*conflicts(assessment).values(), *exclusions(assessment)]
    page = filled(
        "report",
        style=Markup(style("paper") + style("report")),
        title="Visit report",
        who=", ".join(part for part in (assessment.patient or "A newborn without a reference", about.child) if part),
        age=assessment.age,
        visit=f"{clock.tell(assessment.at, year=True)} ({offset(clock.at)})",
        assessment=assessment,
        next_visit=next_visit(assessment.verdict.next_visit, clock),
        remarks=remarks,
        groups=asked,
        standing=standing(assessment, clock),
        said=list(_said(pack, flat)),
        alone=_holds_what_was_asked_alone(assessment, pack),
        come_back=_come_back(assessment, clock, about),
        charts=_charts(pack, visit, assessment),
        steps=examination(pack, visit, assessment),
        normal=listed(short(named(one)) for one in assessment.reassurance),
        expected=as_expected(pack, visit),
        measures=[*_measures(pack, assessment, clock), *not_on_centiles(visit)],
        not_on_record=list(dict.fromkeys(_missing(assessment, clock, about))),
        told=_told(pack, visit, clock),
        owed=[(group.heading, listed(named(topic) for topic in group.topics)) for group in assessment.tell_family],
        rules=[(line.number, line.rule) for group in asked for line in group.lines if line.rule],
        sources=list(_sources(asked)),
        digest=assessment.pack.digest.removeprefix("sha256:")[:_DIGITS],
        changed=about.changed,
        entered=[_SYSTEM.sub("", units(text)) for text in assessment.warnings if text not in remarks],
        legend=LEGEND,
    )
    return page.replace("</style>", print_size(PRINTED, _size(page), ROOM) + "</style>", 1)


def _size(page: str) -> int:
    """Return how much stands on a page, in letters: a thing to do ends in half a line, a figure takes some lines."""
    text = _NOT_READ.sub("", page)
    return len(" ".join(text.split())) + _OF_A_LINE * page.count("<li>") + _OF_A_FIGURE * page.count("<figure")


def _charts(pack: Pack, visit: Visit, assessment: Assessment) -> list[Figure]:
    made = (weight_course(pack, visit), bilirubin(pack, visit, assessment), growth(pack, visit))
    return [figure for figure in made if figure is not None]


def _come_back(assessment: Assessment, clock: Clock, about: About) -> Figure | None:
    later = [due for due in assessment.due if due.state == "later"]
    names = {
        place: " · ".join(listed(name for item in visit.items for name in about.visit_names(item, visit, later)))
        for place, visit in enumerate(assessment.come_back)
    }
    return calendar(assessment, names)


def _measures(pack: Pack, assessment: Assessment, clock: Clock) -> Iterator[tuple[str, str, str]]:
    """Yield each measure with its value and what it was computed from; not the age, and no time that is long past."""
    for one in assessment.measures:
        compute = pack.measures[one.id].compute
        past = compute == "time_left" and (one.high or "").startswith("-")
        if compute not in ("age", "age_days") and not past and is_telling(one):
            label, text = measured(one)
            text += f", {clock.day(one.time)}" if one.time and not one.category and not clock.today(one.time) else ""
            yield label, text, "; ".join(listed(f"{short(u.label)} {dated(u, clock)}" for u in one.derived_from))


def _missing(assessment: Assessment, clock: Clock, about: About) -> Iterator[tuple[str, str]]:
    for due in assessment.not_on_record:
        until = f"by {clock.day(due.window.until)}" if due.window.until else "no fixed time"
        yield about.due_name(due), f"overdue, {until}" if due.state == "overdue" else until


def _holds_what_was_asked_alone(assessment: Assessment, pack: Pack) -> bool:
    private = room(pack)
    asked: list[Recommendation | ToJudge] = [*assessment.recommendations, *assessment.to_chase, *assessment.to_judge]
    return any(private.holds(one) for one in asked)


def _said(pack: Pack, flat: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield what somebody said of a finding in their own words, such as a question; not what was asked alone."""
    for name, written in (flat.get("findings") or {}).items():
        shape = pack.findings.get(str(name).partition(".")[0])
        for one in written if isinstance(written, list) else [written]:
            text = " ".join(str(one.get("text") or "").split()) if isinstance(one, Mapping) else ""
            if text and shape is not None and not shape.private:
                yield shape.label, text if len(text) <= _QUOTED else f"{text[:_QUOTED].rstrip()} …"


def _told(pack: Pack, visit: Visit, clock: Clock) -> list[str]:
    """Return the guidance on record, with its day."""
    given = {}
    for topic in visit.guidance:
        label = pack.targets[topic.name].label if topic.name in pack.targets else topic.name.replace("_", " ")
        given[label] = f"{label} ({clock.day(topic.time.text)})" if topic.time else label
    return list(given.values())


def _sources(asked: list[Group]) -> Iterator[tuple[Citation, list[str]]]:
    """Yield each source behind the lines once, with their numbers."""
    behind: dict[str, tuple[Citation, list[str]]] = {}
    for line in (line for group in asked for line in group.lines):
        for source in line.sources:
            behind.setdefault(source.id, (source, []))[1].append(str(line.number))
    yield from behind.values()
