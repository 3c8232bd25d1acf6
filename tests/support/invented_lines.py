"""Treatment lines with a risk split, invented for tests: three weeks, two lines, straight between the points."""

from layette.engine.measures.thresholds import Curve, ThresholdSet

WEEKS = (35, 36, 37)


def _curve(week, risk, line):
    low = (week - 35) * 10 + (0 if risk == "present" else 25) + (100 if line == "exchange" else 0)
    return Curve.through([(0, 50 + low, 1), (7, 90 + low, 2), (96, 185 + low, 3)], 1, 10, straight=True)


LINES = ("phototherapy", "exchange")
INVENTED = ThresholdSet(
    name="invented",
    issuer="nobody",
    label="Invented",
    unit="mg/dL",
    strict=False,
    gestations=WEEKS,
    lines=LINES,
    risks=("none", "present"),
    covers=(0, 336),
    curves={(ln, w, r): _curve(w, r, ln) for ln in LINES for w in WEEKS for r in ("none", "present")},
    source=("nobody",),
    status="our-reading",
    provenance="invented for this test",
)
