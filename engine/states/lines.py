"""A value and the treatment lines that it cannot be read on: whether it is near enough to one to matter."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from layette.engine.exact.interval import NOTHING_KNOWN
from layette.engine.exact.units import convert
from layette.engine.measures import thresholds
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.pack.written.views import View
from layette.engine.states.facts import Facts
from layette.engine.states.inputs import in_unit


def is_one_way(facts: Facts, view: View) -> bool:
    """Whether the line that a view is held against is answered above it alone."""
    lines = _set_of(facts, view)
    return isinstance(lines, ThresholdSet) and lines.one_way


def not_recorded(facts: Facts, view: View) -> str:
    """Return the finding that chooses the line of a view and is not recorded; empty where it is."""
    name = str(facts.plan.computed[view.line][1].get("gestation", ""))
    return name if name and facts.number(name) is None else ""


def may_be_near(facts: Facts, view: View) -> bool:
    """Whether the value of a view may lie within the set's ``near`` below the lowest line that this newborn may have.

    Where the view looks farther below the line than that, its own distance holds. True as well where nothing says how
    near matters: a set without ``near``, a gestation below the lowest for which no younger set is supplied, a value
    without an age.
    """
    value, lines, given = facts.number(view.subject), _set_of(facts, view), facts.plan.computed[view.line][1]
    if value is None or value.time is None or not isinstance(lines, ThresholdSet) or lines.near is None:
        return True
    younger = facts.table(lines.younger) if lines.younger else None
    gestation = facts.number(str(given["gestation"]))
    line = thresholds.lowest(
        lines,
        younger if isinstance(younger, ThresholdSet) and younger.unit == lines.unit else None,
        str(given["line"]),
        facts.clock.hours(value.time),
        NOTHING_KNOWN if gestation is None else in_unit(gestation, "d"),
        facts.flag(str(given["risk"])) if "risk" in given else None,
    )
    if line is None:
        return True
    near = max(Fraction(lines.near), convert(view.less, "umol/L", lines.unit))
    return thresholds.beyond(in_unit(value, lines.unit), line, lines.strict, near)[1] is True


def _set_of(facts: Facts, view: View) -> Any:
    return facts.table(facts.setting(facts.plan.computed[view.line][1]["set"]))
