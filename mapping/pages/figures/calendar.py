"""The next eight weeks on a line: until when what is asked for has to be done, and when to come back."""

from __future__ import annotations

from datetime import date, timedelta

from layette.engine.answer.parts.assessment import Assessment
from layette.mapping.pages.figures.drawing import INK, LEAF, RULE, SOFT, Axes, Drawing, Figure
from layette.mapping.text.clock import Clock

WEEKS = 8
_ROW = 15.0
_TOP = 22.0
_FAR_RIGHT = 620.0
"""Where there is no room for words behind a bar."""


def calendar(assessment: Assessment, names: dict[int, str]) -> Figure | None:
    """Return the figure, a row a visit to come; None where none is.

    ``names``: what happens at each visit to come, by its place in ``assessment.come_back``.
    """
    if not assessment.come_back:
        return None
    clock = Clock.of(assessment.at)
    today = clock.at.date()
    visits = list(enumerate(assessment.come_back))
    height = _TOP + _ROW * len(visits) + 20
    drawing = Drawing("calendar", 860, height)
    axes = Axes(drawing, (0, WEEKS * 7), (0, 1), (10, _TOP - 8, 850, height - 16))
    for week in range(WEEKS + 1):
        x, _ = axes.at(week * 7, 0)
        drawing.line([(x, _TOP - 8), (x, height - 16)], RULE, 0.7)
        drawing.words(
            (x, height - 4),
            _short(today + timedelta(weeks=week)),
            anchor="middle" if 0 < week < WEEKS else ("start" if week == 0 else "end"),
            size=9.5,
        )
    rows: list[tuple[str, ...]] = [("when", "what")]
    for place, visit in visits:
        y = _TOP + _ROW * place
        first, last = (_days(time, today) for time in (visit.start, visit.until or visit.start))
        _span(axes, max(first, 0), min(max(last, first + 1), WEEKS * 7), y)
        when = clock.span(visit.start, visit.until)
        _label(axes, first, last, y, when)
        rows.append((when, names.get(place, "")))
    title = "Come back: the next eight weeks"
    told = "; ".join(f"{when}: {what}" for when, what in rows[1:])
    return Figure(title, drawing.svg(title, told + "."), tuple(rows))


def _span(axes: Axes, first: float, last: float, y: float) -> None:
    """Draw the days in which a visit may lie, a bar with two ends."""
    left, right = axes.at(first, 0)[0], axes.at(last, 0)[0]
    axes.drawing.line([(left, y), (right, y)], LEAF, 5)
    for x in (left, right):
        axes.drawing.line([(x, y - 5), (x, y + 5)], INK, 1.6)


def _label(axes: Axes, first: float, last: float, y: float, when: str) -> None:
    right = axes.at(min(max(last, first + 1), WEEKS * 7), 0)[0]
    if right > _FAR_RIGHT:
        axes.drawing.words((axes.at(max(first, 0), 0)[0] - 8, y + 3.5), when, anchor="end", color=SOFT)
    else:
        axes.drawing.words((right + 8, y + 3.5), when, color=SOFT)


def _days(time: str, today: date) -> float:
    return float((date.fromisoformat(time[:10]) - today).days)


def _short(day: date) -> str:
    return f"{day.day} {day:%b}"
