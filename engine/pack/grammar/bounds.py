"""Tests by bounds: a number, an age or a time between two ends, each with its own unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from layette.engine.errors import near
from layette.engine.exact.units import UnitMismatchError, amount, convert, exact
from layette.engine.logic.conditions import Among, Node
from layette.engine.pack.grammar.scope import HOLDS, Scope
from layette.engine.pack.grammar.values import known_values
from layette.engine.pack.written.views import View
from layette.engine.pack.written.yaml_nodes import Path
from layette.engine.shape_words import shown_value
from layette.engine.terms import BOUNDS

End = tuple[Fraction, bool]
"""An end of a range, and whether it belongs to the range itself."""


def bounds_test(view: View, written: Mapping[str, Any], path: Path, scope: Scope) -> Node:
    """Return the test that what is looked at lies within the written bounds."""
    unknown = [key for key in written if key not in BOUNDS]
    if unknown or not written:
        told = "".join(f"'{key}' is no bound{near(str(key), BOUNDS)} " for key in unknown)
        comma = (
            "; a number has a point, not a comma, such as 38.5" if any(str(key).isdigit() for key in unknown) else ""
        )
        scope.report(path, "shape", f"{told}(bounds are {', '.join(BOUNDS)}){comma}")
        return HOLDS
    if view.what == "value" and known_values(view, scope):
        scope.report(path, "unknown-value", f"'{view.subject}' has named values, not bounds")
        return HOLDS
    if view.pick in ("any", "every"):
        message = f"'.{view.pick}' is for named values; for a number write .highest or .lowest"
        scope.report(path, "unknown-view", message)
        return HOLDS
    numbers = {key: _number(view, bound, (*path, key), scope) for key, bound in written.items()}
    return between_test(view, {key: number for key, number in numbers.items() if number is not None}, path, scope)


def between_test(view: View, numbers: Mapping[str, Fraction], path: Path, scope: Scope) -> Node:
    """Return the test that a number lies within bounds that are in its own unit already."""
    low = _highest([(numbers[key], key == "at_least") for key in ("at_least", "more_than") if key in numbers])
    high = _lowest([(numbers[key], key == "at_most") for key in ("at_most", "below") if key in numbers])
    if low and high and (low[0] > high[0] or (low[0] == high[0] and not (low[1] and high[1]))):
        scope.report(path, "condition-constant", "no number lies within these bounds")
    var = scope.table.number(view)
    return Among(var, scope.table.cells_mask(var, low, high))


def _highest(ends: Iterable[End]) -> End | None:
    """Return the tighter of lower ends; of two at one number, that which leaves it out."""
    return max(ends, key=lambda end: (end[0], not end[1]), default=None)


def _lowest(ends: Iterable[End]) -> End | None:
    return min(ends, key=lambda end: (end[0], end[1]), default=None)


def _number(view: View, bound: Any, path: Path, scope: Scope) -> Fraction | None:
    unit = "h" if view.what in ("age", "since") else scope.subjects.unit(view.subject)
    if isinstance(bound, bool) or not isinstance(bound, int | float | str):
        scope.report(path, "shape", f"a bound is a number or an amount such as '24 h', not {shown_value(bound)}")
        return None
    if isinstance(bound, str):
        return _amount(bound, unit, scope.subjects.substance(view.subject), path, scope)
    if view.what in ("age", "since"):
        scope.report(path, "unknown-unit", "an age or a time needs its unit, such as '24 h' or '14 d'")
    return exact(bound)


def _amount(bound: str, unit: str | None, substance: str | None, path: Path, scope: Scope) -> Fraction | None:
    written = amount(bound)
    try:
        if written is None or unit is None:
            raise UnitMismatchError(f"'{bound}' is not a number with a unit: write the number alone, without quotes")
        return convert(written[0], written[1], unit, substance)
    except UnitMismatchError as error:
        scope.report(path, "unknown-unit", str(error))
        return None
