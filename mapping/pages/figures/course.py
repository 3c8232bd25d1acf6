"""Weight against birth weight by hour of age, with the published course of loss beside it.

Published medians and tails: the pack's printed table of early loss (Flaherman et al., Pediatrics 2015;135:e16-23;
Miller et al., Hosp Pediatr 2015;5:263-8), which has single hours and no curve, so that only single marks are drawn.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from layette.engine.api import Pack
from layette.engine.tables.build import PrintedTable
from layette.engine.visit.visit import Visit
from layette.mapping.pages.figures.drawing import CLAY, INK, SOFT, Axes, Drawing, Figure, ticks
from layette.mapping.pages.figures.readings import Seen, age_now, at_birth, numbers, value

_KEYS = {"feeding", "delivery", "age_h", "percentile", "loss_pct"}
_DAY = 24.0
_LEAST_HOURS, _STEPS = 96.0, (12.0, 24.0, 48.0, 96.0, 168.0, 336.0)
_MOST_MARKS = 9
_FED = {"breast_only": ("exclusive_breast",), "formula_only": ("formula",)}
_BORN = {"cesarean": "cesarean", "vaginal": "vaginal", "assisted_vaginal": "vaginal"}
_NAMES = {"exclusive_breast": "breast milk alone", "formula": "formula"}


@dataclass(frozen=True)
class _Mark:
    hours: float
    loss: float
    median: bool
    group: str
    said: str


def weight_course(pack: Pack, visit: Visit) -> Figure | None:
    """Return the figure; None where no birth weight or no later weight is known."""
    named = _measured(pack)
    if named is None:
        return None
    birth, later = at_birth(visit, named[1]), numbers(visit, named[0])
    if len({one.value for one in birth}) != 1 or not later:
        return None
    start = birth[0].value
    changes = [(one.hours, (one.value / start - 1) * 100) for one in later]
    marks = list(_published(pack, visit))
    drawing = Drawing("weight-course", 420, 210)
    axes = _axes(drawing, max(age_now(visit), _LEAST_HOURS), [change for _, change in changes])
    _draw_published(axes, marks)
    axes.curve([(0, 0), *changes], INK, 1.8)
    for point in [(0.0, 0.0), *changes]:
        drawing.dot(axes.at(*point))
    title = "Weight against birth weight"
    return Figure(title, drawing.svg(title, _told(changes, marks)), _rows(birth[0], later, changes),
                  _notes(marks))  # fmt: skip


def _measured(pack: Pack) -> tuple[str, str] | None:
    """Return the findings that the pack compares as weight and birth weight."""
    for shape in pack.measures.values():
        if shape.compute == "percent_lost" and shape.headline:
            return str(getattr(shape, "of", "")), str(getattr(shape, "from", ""))
    return None


def _axes(drawing: Drawing, hours: float, changes: list[float]) -> Axes:
    low, high = min([-12.0, *(change - 1 for change in changes)]), max([2.0, *(change + 1 for change in changes)])
    axes = Axes(drawing, (0, hours * 1.04), (low, high), (46, 10, 410, 178))
    step = next((step for step in _STEPS if hours / step <= _MOST_MARKS), 336.0)
    in_days = step >= 2 * _DAY
    xs = [(at, f"{at / _DAY:g}" if in_days else f"{at:g}") for at, _ in ticks(0, hours, step)]
    span = high - low
    axes.grid(xs, [(at, f"{at:+g} %" if at else "0 %") for at, _ in ticks(low, high, 4 if span < 30 else 20)])
    drawing.words((410, 206), "days of age" if in_days else "hours of age", anchor="end")
    return axes


def _published(pack: Pack, visit: Visit) -> Iterator[_Mark]:
    """Yield the published points of the babies that this one may belong to."""
    tables = [
        one for one in pack.tables.values() if isinstance(one, PrintedTable) and one.rows and {*one.rows[0]} >= _KEYS
    ]
    fed = _FED.get(value(visit, "feeding_type") or "", ("exclusive_breast", "formula"))
    born = _BORN.get(value(visit, "delivery") or "")
    for row in (row for table in tables for row in table.rows):
        feeding, delivery = str(row["feeding"]), str(row["delivery"])
        if feeding in fed and born in (None, delivery) and row["loss_pct"] is not None:
            group = f"{_NAMES.get(feeding, feeding)}, {delivery} birth"
            median = row["percentile"] == "50"
            share = str(row["percentile"]).lstrip("~")
            said = (
                "half lose less" if median else f"about {share} of 100 lose less" if share.isdigit() else "rarely more"
            )
            yield _Mark(float(str(row["age_h"])), float(row["loss_pct"]), median, group, said)


def _draw_published(axes: Axes, marks: list[_Mark]) -> None:
    for group in dict.fromkeys(mark.group for mark in marks):
        medians = sorted((m.hours, -m.loss) for m in marks if m.median and m.group == group)
        axes.curve(medians, SOFT, 1.2, "4 3")
        for hours, change in medians:
            axes.drawing.dot(axes.at(hours, change), SOFT, 2.6, hollow=True)
    for mark in marks:
        if not mark.median:
            x, y = axes.at(mark.hours, -mark.loss)
            axes.drawing.line([(x - 6, y), (x + 6, y)], CLAY, 2.2)


def _told(changes: list[tuple[float, float]], marks: list[_Mark]) -> str:
    told = "; ".join(f"{change:+.1f} % at {int(hours)} hours" for hours, change in changes)
    return f"Change from birth weight: {told}." + (" Published medians and tails are drawn beside it." if marks else "")


def _rows(birth: Seen, later: list[Seen], changes: list[tuple[float, float]]) -> tuple[tuple[str, ...], ...]:
    rows = [
        (f"{int(one.hours)} h", one.written, f"{change:+.1f} %")
        for one, (_, change) in zip(later, changes, strict=True)
    ]
    return (("age", "weight", "of birth weight"), (f"{int(birth.hours)} h", birth.written, "birth"), *rows)


def _notes(marks: list[_Mark]) -> tuple[str, ...]:
    if not marks:
        return ()
    groups = " · ".join(dict.fromkeys(mark.group for mark in marks))
    tails = " · ".join(dict.fromkeys(f"{m.loss:g} % at {m.hours:g} h: {m.said}" for m in marks if not m.median))
    told = [f"Dashed: published medians ({groups}; term babies, USA)."]
    return (*told, f"Thick dashes: {tails}.") if tails else tuple(told)
