"""Tests against a treatment line: a value beyond the line of a threshold measure, or a little below it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from layette.engine.exact.units import UnitMismatchError, convert, exact
from layette.engine.logic.conditions import Among, Node
from layette.engine.logic.program import YES
from layette.engine.pack.grammar.scope import HOLDS, Scope
from layette.engine.pack.written.views import View
from layette.engine.pack.written.yaml_nodes import Path
from layette.engine.shape_words import shown_value


def beyond_test(view: View, written: Mapping[str, Any], path: Path, scope: Scope) -> Node:
    """Return the test that the value lies beyond the line named in ``{beyond: line, less: {value, unit}}``."""
    line = str(written["beyond"])
    shape = scope.subjects.measures.get(line)
    if shape is None or shape.compute != "threshold":
        scope.report(path, "unknown-finding", f"{shown_value(written['beyond'])} is no measure of treatment lines")
        return HOLDS
    less = _less(written["less"], path, scope) if "less" in written else Fraction(0)
    return Among(scope.table.flag(replace(view, what="beyond", line=line, less=less)), YES)


def _less(written: Any, path: Path, scope: Scope) -> Fraction:
    """Read ``{value: 2, unit: mg/dL}``; kept in umol/L, exactly, so that any set can use it."""
    try:
        return convert(exact(written["value"]), str(written["unit"]), "umol/L")
    except (UnitMismatchError, KeyError, TypeError, ValueError):
        scope.report((*path, "less"), "unknown-unit", "'less' is {value, unit} with mg/dL or umol/L")
        return Fraction(0)
