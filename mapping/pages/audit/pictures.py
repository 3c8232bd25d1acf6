"""The figures of an audit: the funnel of the clinics, and what became of what was due by group."""

from __future__ import annotations

from collections.abc import Sequence

from layette.mapping.pages.audit.intervals import Z95, Z998, limits
from layette.mapping.pages.audit.shown import Share, Shown
from layette.mapping.pages.figures.drawing import CLAY, INK, LEAF, SOFT, Axes, Drawing, Figure

_NAMED = 12
"""So many clinics outside the limits are named in the drawing; all are in the table."""


def funnel(key: str, title: str, one: Shown) -> Figure | None:
    """Return the clinics by number and share, with the limits of chance; None with fewer than two, or all alike."""
    clinics = one.of.groups.get("clinic", [])
    found = [(name, share) for name in clinics if (share := one.share("clinic", name)) is not None]
    total = one.share()
    if len(found) < 2 or total is None or total.part in (0, total.whole):
        return None
    drawing = Drawing(key, 620, 300)
    most = max(share.whole for _, share in found) * 1.08
    axes = Axes(drawing, (0, most), (0, 1), (48, 14, 600, 258))
    axes.grid(_marks(most), [(n / 4, f"{25 * n} %") for n in range(5)])
    steps = [max(most * n / 120, 0.5) for n in range(1, 121)]
    for z, dash in ((Z95, "5 3"), (Z998, "")):
        ends = [(n, *limits(total.share, n, z)) for n in steps]
        axes.curve([(n, low) for n, low, _ in ends], SOFT, 0.9, dash)
        axes.curve([(n, high) for n, _, high in ends], SOFT, 0.9, dash)
    axes.curve([(0, total.share), (most, total.share)], LEAF, 1.6)
    rows, named = [("Clinic", "In time", "Against chance")], 0
    for name, share in sorted(found, key=lambda pair: pair[1].share):
        verdict = _verdict(share, total.share)
        at = axes.at(share.whole, share.share)
        drawing.dot(at, CLAY if verdict.startswith("below") else INK, hollow=verdict == _WITHIN)
        if verdict != _WITHIN and named < _NAMED:
            right = at[0] > 450
            drawing.words((at[0] + (-7 if right else 7), at[1] + 3), name, anchor="end" if right else "start")
            named += 1
        rows.append((name, str(share), verdict))
    drawing.words((324, 292), "how many could be judged (the denominator)", anchor="middle")
    outside = sum(row[2] != _WITHIN for row in rows[1:])
    told = f"{len(found)} clinics; {outside} differ from the whole by more than chance explains at 95 in 100"
    notes = [
        "Line: all clinics together. Dashed: where 95 in 100 clinics lie by chance alone; outer lines: 998 in 1,000. "
        "Hollow: within. Of twenty clinics one lies outside the dashed lines by chance."
    ]
    if len(found) < len(clinics):
        notes.append(f"{len(clinics) - len(found)} clinics are not drawn: too few to show, or nothing to judge.")
    return Figure(f"{title}: clinics, and what chance explains", drawing.svg(title, told), tuple(rows), (*notes,))


_WITHIN = "within chance"


def _verdict(one: Share, share: float) -> str:
    for z, name in ((Z998, "beyond 998 in 1,000"), (Z95, "beyond 95 in 100")):
        low, high = limits(share, one.whole, z)
        if not low <= one.share <= high:
            return f"{'below' if one.share < low else 'above'}, {name}"
    return _WITHIN


def _marks(most: float) -> Sequence[tuple[float, str]]:
    size = 10 ** (len(str(int(most))) - 1)
    step = next(s for s in (size / 5, size / 2, size, 2 * size) if most / s <= 8)
    step = max(1, step)
    return [(n * step, f"{n * step:,.0f}") for n in range(int(most // step) + 1)]


def course(key: str, title: str, one: Shown, by: str, what: str) -> Figure | None:
    """Return the share in time of each group with its interval; None where fewer than two may be shown."""
    groups = one.of.groups.get(by, [])
    found = [(name, share) for name in groups if (share := one.share(by, name)) is not None]
    if len(found) < 2:
        return None
    drawing = Drawing(key, 620, 40 + 22 * len(found))
    bottom = 14 + 22 * len(found)
    axes = Axes(drawing, (0, 1), (0, len(found)), (150, 8, 590, bottom))
    axes.grid([(n / 4, f"{25 * n} %") for n in range(5)], [])
    for place, (name, share) in enumerate(found):
        high = len(found) - place - 0.5
        axes.curve([(share.low, high), (share.high, high)], SOFT, 2)
        drawing.dot(axes.at(share.share, high), INK)
        drawing.words((142, axes.at(0, high)[1] + 3.5), name, anchor="end")
    told = "; ".join(f"{name} {share}" for name, share in found)
    rows = (("Group", "In time"), *((name, str(share)) for name, share in found))
    note = "Mark: the share done in time; line: its 95 % interval. Groups that may not be shown are left out."
    return Figure(f"{title}: done in time by {what}", drawing.svg(title, told), rows, (note,))
