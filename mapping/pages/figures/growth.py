"""Weight, length and head circumference on the centiles of the standard that the pack names, a panel each.

The curves are computed from the table's L, M and S by Cole's method (Stat Med 1992;11:1305-19), as the measures are:
WHO Child Growth Standards 2006, birth to 91 days.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from statistics import NormalDist

from layette.engine.api import Pack
from layette.engine.exact.interval import Interval
from layette.engine.measures.ages import TERM_DAYS
from layette.engine.measures.growth import AT_TERM, LmsTable, centile
from layette.engine.visit.visit import Visit
from layette.mapping.pages.figures.drawing import INK, SOFT, Axes, Drawing, Figure, ticks
from layette.mapping.pages.figures.readings import Seen, age_now, at_birth, numbers

CENTILES = (3, 15, 50, 85, 97)
"""The centiles that the standard's own charts show."""

_DASHES = {3: "2 2", 15: "5 3", 50: "", 85: "5 3", 97: "2 2"}
_EARLY = (
    "Born early: by the age from 40 weeks. What was measured before is not drawn, as the standard is of term babies."
)
_SURE = 0.1
_DAY = 24.0
_LEAST_DAYS = 28
_MARKS = 7
_SEXES = ("male", "female")
_WIDTH, _HEIGHT, _GAP = 140.0, 190.0, 6.0


def growth(pack: Pack, visit: Visit) -> Figure | None:
    """Return the figure; None where the sex is not known (the curves are for one sex), or nothing was measured.

    Of a baby born before 37 weeks it counts from 40 weeks.
    """
    if visit.sex not in _SEXES:
        return None
    early = _early(visit)
    panels = [(label, left, table) for label, seen, table in _panels(pack, visit) if (left := _from_term(seen, early))]
    if not panels:
        return None
    sex = _SEXES.index(visit.sex)
    drawing = Drawing("growth", len(panels) * (_WIDTH + _GAP), _HEIGHT)
    for place, (label, seen, table) in enumerate(panels):
        axes = _axes(drawing, place * (_WIDTH + _GAP), seen, table, sex, age_now(visit) / _DAY - early)
        since = "days from term" if early else "days of age"
        drawing.words((axes.frame[2], _HEIGHT - 3), since, anchor="end", size=9)
        drawing.words((axes.frame[0], 14), f"{label}, {table.unit}", size=9.5, color=INK)
        _draw(axes, seen, table, sex)
    title = "Growth on the centiles " + ", ".join(map(str, CENTILES))
    rows = [
        (label, f"day {one.days}" + (" from term" if early else ""), one.written, _centile(one, table, sex))
        for label, seen, table in panels
        for one in seen
    ]
    told = "; ".join(f"{label} {written} on {day}, centile {place}" for label, day, written, place in rows)
    whose = "boys" if visit.sex == "male" else "girls"
    sources = " · ".join(dict.fromkeys(table.label for *_, table in panels)) + f", {whose}."
    heads = ("", "age", "measured", "centile")
    return Figure(title, drawing.svg(title, told + "."), (heads, *rows), (sources, *([_EARLY] if early else [])))


def _panels(pack: Pack, visit: Visit) -> Iterator[tuple[str, list[Seen], LmsTable]]:
    for shape in pack.measures.values():
        table = pack.tables.get(str(getattr(shape, "table", "")))
        if shape.compute == "zscore" and isinstance(table, LmsTable):
            finding = str(getattr(shape, "of", ""))
            born = at_birth(visit, f"birth_{finding.partition('_')[0]}")
            seen = [one for one in (*born, *numbers(visit, finding)) if one.hours / _DAY < table.covers[1]]
            yield pack.findings[finding].label, list(dict.fromkeys(seen)), table


def not_on_centiles(visit: Visit) -> Iterator[tuple[str, str, str]]:
    """Yield, of a baby who was born early and has not reached 40 weeks, why nothing is on the centiles."""
    if age_now(visit) < _early(visit) * _DAY:
        yield "Growth for age", "not before 40 weeks", "born early, and the standard is of babies born at term"


def _early(visit: Visit) -> float:
    """Return how many days before 40 weeks a baby was born who was born before 37; else 0."""
    return max((TERM_DAYS - one.value for one in numbers(visit, "gestational_age") if one.value < AT_TERM), default=0)


def _from_term(seen: list[Seen], early: float) -> list[Seen]:
    """Return what was measured from 40 weeks on, by the age from then; all of it of a baby born at term."""
    moved = [replace(one, hours=one.hours - early * _DAY, days=one.days - int(early)) for one in seen]
    return [one for one in moved if one.days >= 0] if early else seen


def _axes(drawing: Drawing, left: float, seen: list[Seen], table: LmsTable, sex: int, today: float) -> Axes:
    """Draw the axes of one panel, wide enough for a few weeks and for all that was measured."""
    last = int(min(max(_LEAST_DAYS, today * 1.15), table.covers[1]))
    values = [one.value for one in seen]
    low = min(_at(table, sex, 0, CENTILES[0]), *values)
    high = max(_at(table, sex, last, CENTILES[-1]), *values)
    pad = (high - low) * 0.05
    axes = Axes(drawing, (0, last * 1.12), (low - pad, high + pad), (left + 28, 24, left + _WIDTH, _HEIGHT - 30))
    step = next((step for step in (0.5, 1, 2, 5, 10) if (high - low) / step <= _MARKS), 20)
    axes.grid(ticks(0, last, 7 if last <= _LEAST_DAYS else 14), ticks(low, high, step))
    return axes


def _draw(axes: Axes, seen: list[Seen], table: LmsTable, sex: int) -> None:
    last = int(axes.x[1] / 1.12)
    for share in CENTILES:
        curve = [(float(day), _at(table, sex, day, share)) for day in range(last + 1)]
        axes.curve(curve, SOFT, 0.9 if _DASHES[share] else 1.6, _DASHES[share])
        x, y = axes.at(*curve[-1])
        axes.drawing.words((x + 2, y + 3), str(share), size=8)
    axes.curve([(one.hours / _DAY, one.value) for one in seen], INK, 1.6)
    for one in seen:
        axes.drawing.dot(axes.at(one.hours / _DAY, one.value), INK, 3)


def _at(table: LmsTable, sex: int, day: int, share: float) -> float:
    power, median, spread = (float(one) for one in table.lms[sex, day - table.covers[0]])
    z = NormalDist().inv_cdf(share / 100)
    return median * (math.exp(spread * z) if power == 0 else (1 + power * spread * z) ** (1 / power))


def _centile(seen: Seen, table: LmsTable, sex: int) -> str:
    """Return the centile as the engine computes it."""
    one, day = Fraction(seen.value).limit_denominator(10**6), Fraction(seen.days)
    [(low, _)] = centile(Interval.one(one, one), sex, Interval.one(day, day), table).spans()
    if low is None:
        return ""
    place = float(low)
    if not _SURE < place < 100 - _SURE:
        return f"below {_SURE}" if place <= _SURE else f"above {100 - _SURE}"
    return f"{place:.1f}" if min(place, 100 - place) < CENTILES[0] else f"{place:.0f}"
