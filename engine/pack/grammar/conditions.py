"""Reading the conditions of a pack: from a YAML mapping to a tree of tests on numbered variables.

A mapping of tests means all of them; ``all``, ``any`` and ``none`` nest. The same text is read twice: once to
gather the cut points of every number, and once more, with the cells fixed, for the final tree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from layette.engine.logic.conditions import AllOf, AnyOf, Node, Not
from layette.engine.pack.grammar.keys import SIDE_VIEWS, parse_key
from layette.engine.pack.grammar.leaves import view_test
from layette.engine.pack.grammar.scope import HOLDS, Report, Scope
from layette.engine.pack.grammar.settings import setting_is, setting_test
from layette.engine.pack.grammar.sides import sides_test
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.yaml_nodes import Path


class Grammar:
    """Reads conditions against the names of a pack."""

    def __init__(self, subjects: Subjects, table: VariableTable, report: Report) -> None:
        """Read names from ``subjects``, number variables in ``table``, tell mistakes to ``report``."""
        self._scope = Scope(subjects, table, report)

    def condition(self, written: Any, path: Path, side: str = "") -> Node:
        """Return the tree of one condition; ``side`` is the side that an `each: side` rule stands for."""
        if not isinstance(written, Mapping) or not written:
            self._scope.report(path, "condition-empty", "a condition is a mapping with at least one test")
            return HOLDS
        parts = tuple(self._part(str(key), value, (*path, key), side) for key, value in written.items())
        return parts[0] if len(parts) == 1 else AllOf(parts)

    def setting_is(self, name: str, choices: Sequence[str]) -> Node:
        """Return the test that setting ``name`` is one of ``choices``."""
        return setting_is(name, choices, self._scope)

    def _part(self, key: str, value: Any, path: Path, side: str) -> Node:
        if key not in ("all", "any", "none"):
            return self._test(key, value, path, side)
        listed = value if isinstance(value, list) else [value]
        if not listed:
            self._scope.report(path, "condition-empty", f"'{key}' needs at least one condition")
        places = [(*path, k) for k in range(len(listed))] if isinstance(value, list) else [path]
        parts = tuple(self.condition(item, place, side) for item, place in zip(listed, places, strict=True))
        if key == "all":
            return AllOf(parts)
        return AnyOf(parts) if key == "any" else Not(AnyOf(parts))

    def _test(self, key: str, value: Any, path: Path, side: str) -> Node:
        scope = self._scope
        if key.startswith("setting."):
            return setting_test(key.removeprefix("setting."), value, path, scope)
        parsed = parse_key(key, path, scope)
        if parsed is None:
            return HOLDS
        sides = scope.subjects.sides(parsed.view.subject)
        if not sides:
            return view_test(parsed.view, value, path, scope)
        wanted = parsed.side or side
        if not wanted:
            views = ", ".join(f".{word}" for word in (*sides, *SIDE_VIEWS))
            scope.report(path, "side-missing", f"'{key}' has sides: say which, one of {views}")
            return HOLDS
        return sides_test(parsed.view, wanted, value, path, scope)
