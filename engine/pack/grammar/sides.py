"""Tests of a finding with sides: on one of them, on either, on both, on one only, or unequal."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not
from layette.engine.pack.grammar.leaves import view_test
from layette.engine.pack.grammar.scope import Scope
from layette.engine.pack.grammar.values import flag_test
from layette.engine.pack.written.views import NA, View
from layette.engine.pack.written.yaml_nodes import Path


def sides_test(view: View, wanted: str, value: Any, path: Path, scope: Scope) -> Node:
    """Return the test of a view on the ``wanted`` side, or on sides as one of the side views says."""
    if wanted == "unequal":
        return flag_test(scope.table.flag(replace(view, what="unequal")), value, path, scope)
    sides = scope.subjects.sides(view.subject)
    tests = {side: view_test(replace(view, side=side), value, path, scope) for side in sides}
    if wanted in tests:
        return tests[wanted]
    each = tuple(tests.values())
    if wanted == "either":
        return AnyOf(each)
    if wanted == "both":
        return AllOf((*(_or_does_not_apply(test, scope) for test in each), AnyOf(each)))
    others = {side: tuple(Not(tests[other]) for other in sides if other != side) for side in sides}
    return AnyOf(tuple(AllOf((tests[side], *others[side])) for side in sides))


def _or_does_not_apply(test: Node, scope: Scope) -> Node:
    """Add "does not apply" to what counts; a flag has no such atom, it is false there."""
    if not isinstance(test, Among) or scope.table.entries[test.var].kind == "flag":
        return test
    return Among(test.var, test.mask | NA)
