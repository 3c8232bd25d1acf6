"""Tests by name: true or false of a conclusion, one of the named values of a finding, a category of a measure."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from layette.engine.errors import near
from layette.engine.logic.conditions import Among, Node
from layette.engine.logic.program import YES
from layette.engine.pack.grammar.scope import HOLDS, Scope
from layette.engine.pack.written.views import View
from layette.engine.pack.written.yaml_nodes import Path
from layette.engine.shape_words import shown_value


def flag_test(var: int, value: Any, path: Path, scope: Scope) -> Node:
    """Return the test that a yes-or-no variable is as ``value`` says."""
    if not isinstance(value, bool):
        scope.report(path, "unknown-value", f"this is either true or false, not {shown_value(value)}")
    return Among(var, scope.table.values_mask(var, ["yes" if value else "no"]))


def any_reading_test(view: View, value: Any, path: Path, scope: Scope) -> Node:
    """Return the test that some reading of a period, or every one, is among the named values."""
    accepted = tuple(sorted(_accepted(view, value, path, scope)))
    return Among(scope.table.flag(replace(view, what="among", accept=accepted)), YES)


def values_test(view: View, value: Any, path: Path, scope: Scope) -> Node:
    """Return the test that what is looked at is one of the named values."""
    known = known_values(view, scope)
    if view.what in ("age", "since"):
        scope.report(path, "unknown-value", "an age or a time is tested by bounds such as {at_least: 14 d}")
        return HOLDS
    if known and view.pick in ("highest", "lowest"):
        message = f"'.{view.pick}' is for numbers; for named values write .any or .every"
        scope.report(path, "unknown-view", message)
        return HOLDS
    if not known:
        scope.report(path, "unknown-value", f"'{view.subject}' is a number: give bounds such as at_least")
        return HOLDS
    var = scope.table.category(view, known)
    return Among(var, scope.table.values_mask(var, _accepted(view, value, path, scope)))


def known_values(view: View, scope: Scope) -> tuple[str, ...]:
    """Return the named values of what is looked at; none of a number."""
    if view.qualifier:
        return tuple(scope.subjects.findings[view.subject].qualifier[view.qualifier])
    if view.subject in scope.subjects.measures:
        return scope.subjects.categories(view.subject)
    return scope.subjects.values(view.subject)


def _no_value(name: Any, subject: str, known: tuple[str, ...]) -> str:
    if isinstance(name, bool):
        values = ", ".join(f'"{value}"' for value in known)
        return f"{str(name).lower()} is no value of '{subject}': {values}, in quotes where it is yes, no, true or false"
    return f"'{name}' is no value of '{subject}': {', '.join(known)}{near(str(name), known)}"


def _accepted(view: View, value: Any, path: Path, scope: Scope) -> list[str]:
    """Return the written values that exist; the others are reported."""
    known = known_values(view, scope)
    written = value if isinstance(value, list) else [value]
    for name in written:
        if name not in known:
            scope.report(path, "unknown-value", _no_value(name, view.subject, known))
    if not written:
        scope.report(path, "condition-empty", "an empty list of values can never hold")
    return [name for name in written if name in known]
