"""The test of one view: which of the ways to write a test it is, and how far back it looks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from layette.engine.exact.units import UnitMismatchError, seconds
from layette.engine.logic.conditions import Among, Node
from layette.engine.logic.program import YES
from layette.engine.pack.grammar.bounds import bounds_test
from layette.engine.pack.grammar.lines import beyond_test
from layette.engine.pack.grammar.scope import HOLDS, Scope
from layette.engine.pack.grammar.settings import setting_bounds_test
from layette.engine.pack.grammar.values import any_reading_test, flag_test, values_test
from layette.engine.pack.written.views import View
from layette.engine.pack.written.yaml_nodes import Path

_PERIODS = ("highest", "lowest", "any", "every")
"""The picks among several readings, which need to know how far back to look."""


EVENT_LASTS = 86400
"""For how many seconds before the visit an event counts."""


def view_test(view: View, value: Any, path: Path, scope: Scope) -> Node:
    """Return the test of one view; one of several readings always needs how far back to look."""
    told = view.over is not None or (isinstance(value, Mapping) and "over" in value)
    if view.pick in _PERIODS and not told:
        message = f"'.{view.pick}' needs how far back to look, such as 'over: 24 h'"
        scope.report(path, "unknown-view", message)
    if isinstance(value, Mapping):
        return _mapping_test(view, dict(value), path, scope)
    subjects = scope.subjects
    if view.subject in subjects.conclusions and view.subject not in subjects.measures:
        return flag_test(scope.table.flag(view), value, path, scope)
    if _is_event(view, scope):
        return any_reading_test(replace(view, pick="event", over=EVENT_LASTS), value, path, scope)
    if view.pick in ("any", "every"):
        return any_reading_test(view, value, path, scope)
    return values_test(view, value, path, scope)


def _is_event(view: View, scope: Scope) -> bool:
    """Whether a test of the latest value is one of what happened: a later "none" does not erase it for a day."""
    shape = scope.subjects.findings.get(view.subject)
    latest = view.pick == "latest" and view.what == "value" and not view.qualifier
    return latest and shape is not None and bool(shape.event)


def _mapping_test(view: View, written: dict[str, Any], path: Path, scope: Scope) -> Node:
    misplaced = _misplaced(view.subject, written, scope)
    if misplaced:
        scope.report(path, "unknown-value", misplaced)
        return HOLDS
    if "recorded" in written and "over" in written:
        return _recorded_within(view, written, path, scope)
    view = _over(view, written, path, scope)
    for message in _left_aside(written):
        scope.report(path, "shape", message)
    if "recorded" in written:
        return _recorded_test(view, written, path, scope)
    if "beyond" in written:
        return beyond_test(view, written, path, scope)
    if "setting" in written:
        return setting_bounds_test(view, written, path, scope)
    if "is" in written:
        return view_test(view, written["is"], path, scope)
    return bounds_test(view, written, path, scope)


def _misplaced(name: str, written: Mapping[str, Any], scope: Scope) -> str:
    """Say why a mapping cannot be asked of this subject; empty where it can."""
    if name in scope.subjects.conclusions:
        return f"'{name}' is a conclusion: true or false"
    if ("recorded" in written or "beyond" in written) and name not in scope.subjects.findings:
        return f"'{name}' is no finding: 'recorded' and 'beyond' are asked of findings"
    return ""


def _over(view: View, written: dict[str, Any], path: Path, scope: Scope) -> View:
    """Take ``over`` out of the mapping and into the view."""
    if "over" not in written:
        return view
    try:
        over = seconds(str(written.pop("over")))
    except UnitMismatchError as error:
        scope.report((*path, "over"), "unknown-unit", str(error))
        return view
    if view.pick not in _PERIODS:
        scope.report(path, "unknown-view", "'over' goes with .any, .every, .highest or .lowest")
    return replace(view, over=over)


def _left_aside(written: Mapping[str, Any]) -> Iterator[str]:
    """Say which keys the first of these words would silently leave aside."""
    for word, beside in (("recorded", ()), ("beyond", ("less",)), ("setting", ()), ("is", ())):
        extra = [key for key in written if key != word and key not in beside]
        if word in written and extra:
            yield f"'{word}' stands alone, without {', '.join(map(str, extra))}"


def _recorded_within(view: View, written: Mapping[str, Any], path: Path, scope: Scope) -> Node:
    """Return the test that something was recorded in a period: some value that the finding can have is there."""
    shape = scope.subjects.findings[view.subject]
    if set(written) != {"recorded", "over"} or view.pick not in ("latest", "any") or written["recorded"] is not True:
        message = "'recorded: true' with 'over' stands alone, on a finding or its .any, and not on .highest or the like"
        scope.report(path, "shape", message)
        return HOLDS
    if shape.number is None:
        among = {"is": list(shape.values or ()), "over": written["over"]}
        return _mapping_test(replace(view, pick="any"), among, path, scope)
    bounds = {"at_least": shape.number.plausible[0], "over": written["over"]}
    return _mapping_test(replace(view, pick="highest"), bounds, path, scope)


def _recorded_test(view: View, written: Mapping[str, Any], path: Path, scope: Scope) -> Node:
    if written["recorded"] is not True:
        message = "only 'recorded: true' can be asked: nothing may follow from not looking"
        scope.report(path, "unknown-value", message)
    return Among(scope.table.flag(replace(view, what="recorded")), YES)
