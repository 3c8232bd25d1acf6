"""The examination head to toe: each finding of a step by its state, in marks that need no color."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack
from layette.engine.pack.written.shapes import FindingShape
from layette.engine.visit.visit import Recorded, Visit
from layette.mapping.pages.figures.drawing import CLAY, INK, LEAF, SOFT, Drawing, Figure
from layette.mapping.pages.figures.readings import UNSETTLED, expected, made_here

STATES = {
    "open": "not examined, wanted",
    "expected": "as expected",
    "told": "as expected by what the family told, or so far",
    "other": "not as expected",
    "recorded": "recorded",
    "tried": "could not be judged",
}
"""The states of a finding, in words; what nothing asks for today is not drawn."""

_LEGEND = (
    "Dashed box not examined (heavy: could be an emergency) · tick as expected (without a box: told by the family, or "
    "preliminary) · triangle not as expected · dot recorded · slash could not be judged."
)
_ROW, _STEP, _LEFT = 15.0, 12.5, 190.0
_MOST = 18


def examination(pack: Pack, visit: Visit, assessment: Assessment) -> Figure | None:
    """Return the figure, a row a step in the order of the examination; steps that are read in a record are left out."""
    open_now = {step.area: [(q.finding, q.side or "") for q in step.questions] for step in assessment.steps}
    pressing = {(q.finding, q.side or "") for step in assessment.steps for q in step.questions if q.emergencies}
    rows, recorded = [], made_here(visit)
    for area in pack.areas:
        if area.record:
            continue
        states = list(_states(area.findings, recorded, open_now.get(area.area, [])))
        if states:
            rows.append((area.label, states))
    if not rows:
        return None
    drawing = Drawing("examination", _LEFT + _MOST * _STEP + 24, _ROW * len(rows) + 8)
    for place, (label, states) in enumerate(rows):
        y = _ROW * (place + 0.7)
        drawing.words((_LEFT - 10, y + 1), label, anchor="end", color=INK, size=9.5)
        for column, (where, state) in enumerate(states[:_MOST]):
            _mark(drawing, _LEFT + column * _STEP, y - 7, state, heavy=where in pressing)
        if len(states) > _MOST:
            drawing.words((_LEFT + _MOST * _STEP, y + 1), f"+{len(states) - _MOST}")
    drawing.line([(_LEFT - 5, 2), (_LEFT - 5, _ROW * len(rows) + 2)], SOFT, 0.8)
    counts = [(label, Counter(state for _, state in states)) for label, states in rows]
    title = "The examination, head to toe"
    numbers = tuple((label, *(str(count[state] or "") for state in STATES)) for label, count in counts)
    told = "; ".join(f"{label}: " + ", ".join(f"{n} {STATES[s]}" for s, n in count.items()) for label, count in counts)
    heads = ("step", *STATES.values())
    return Figure(title, drawing.svg(title, told + "."), (heads, *numbers), (_LEGEND,))


def _states(
    findings: Mapping[str, FindingShape], recorded: Mapping[str, list[Recorded]], wanted: list[tuple[str, str]]
) -> Iterator[tuple[tuple[str, str], str]]:
    """Yield each finding (and side) that was recorded at this visit or is wanted, with its state."""
    for name, shape in findings.items():
        here = recorded.get(name, [])
        for side in dict.fromkeys((*(one.side for one in here), *(side for f, side in wanted if f == name))):
            of_side = [one for one in here if one.side == side]
            yield (name, side), _state(of_side, shape) if of_side else "open"


def _state(found: list[Recorded], shape: FindingShape) -> str:
    """Return the state that several recordings give: what is not as expected comes first."""
    usual = expected(shape.expected)
    states = {
        "tried" if one.possible is None
        else "recorded" if not isinstance(one.possible, frozenset) or not usual
        else "other" if not one.possible <= usual
        else "told" if one.reported or one.status in UNSETTLED
        else "expected"
        for one in found
    }  # fmt: skip
    return next(state for state in ("other", "tried", "recorded", "expected", "told") if state in states)


def _mark(drawing: Drawing, x: float, y: float, state: str, *, heavy: bool) -> None:
    size = 8.5
    if state == "other":
        drawing.area([(x + size / 2, y - 0.5), (x + size + 0.5, y + size), (x - 0.5, y + size)], CLAY, 1)
        return
    corners = [(x, y), (x + size, y), (x + size, y + size), (x, y + size), (x, y)]
    if state == "open":
        drawing.line(corners, INK if heavy else SOFT, 1.9 if heavy else 0.9, "2 1.6")
        return
    if state != "told":
        drawing.line(corners, LEAF if state == "expected" else INK, 1)
    if state in ("expected", "told"):
        drawing.line([(x + 1.8, y + 4.5), (x + 3.8, y + 6.8), (x + 7.2, y + 1.5)], LEAF, 1.7)
    elif state == "recorded":
        drawing.dot((x + size / 2, y + size / 2), INK, 1.8)
    else:
        drawing.line([(x - 1, y + size + 1), (x + size + 1, y - 1)], INK, 1.3)
