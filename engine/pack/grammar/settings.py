"""Tests of a setting, and of a value against the bounds that the choice in force brings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from layette.engine.errors import near
from layette.engine.exact.units import exact
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node
from layette.engine.pack.grammar.bounds import between_test
from layette.engine.pack.grammar.scope import HOLDS, Scope
from layette.engine.pack.written.views import View
from layette.engine.pack.written.yaml_nodes import Path


def setting_test(name: str, value: Any, path: Path, scope: Scope) -> Node:
    """Return the test that the setting ``name`` is as written: one choice, or one of a list."""
    shape = scope.subjects.settings.get(name)
    if shape is None:
        scope.report(path, "unknown-setting", f"there is no setting '{name}'{near(name, scope.subjects.settings)}")
        return HOLDS
    written, choices = value if isinstance(value, list) else [value], list(shape.choices)
    for choice in written:
        if choice not in choices:
            message = f"'{choice}' is no choice of '{name}': {', '.join(choices)}{near(str(choice), choices)}"
            scope.report(path, "unknown-setting", message)
    return setting_is(name, [choice for choice in written if choice in choices], scope)


def setting_is(name: str, choices: Sequence[str], scope: Scope) -> Node:
    """Return the test that the setting ``name`` is one of ``choices``; all of them exist."""
    var = scope.table.category(View(f"setting:{name}"), tuple(scope.subjects.settings[name].choices))
    return Among(var, scope.table.values_mask(var, choices))


def setting_bounds_test(view: View, written: Mapping[str, Any], path: Path, scope: Scope) -> Node:
    """Return the test of a value against the bounds of whichever choice of ``{setting: name}`` is in force."""
    name = str(written["setting"])
    shape = scope.subjects.settings.get(name)
    if shape is None or any(choice.bounds is None for choice in shape.choices.values()):
        known = [key for key, one in scope.subjects.settings.items() if all(c.bounds for c in one.choices.values())]
        message = f"'{name}' is no setting whose every choice brings bounds{near(name, known)}"
        scope.report(path, "unknown-setting", message)
        return HOLDS
    ways = []
    for slug, choice in shape.choices.items():
        numbers = {str(key): exact(bound) for key, bound in (choice.bounds or {}).items()}
        ways.append(AllOf((setting_is(name, [slug], scope), between_test(view, numbers, path, scope))))
    return AnyOf(tuple(ways))
