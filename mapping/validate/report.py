"""Issues as text for people, and as an OperationOutcome for systems."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Any

from layette.engine.errors import TOLD, told
from layette.mapping.validate.rules.issue import Issue

_ORDER = ("error", "warning", "information")


def text_report(issues: Sequence[Issue], source: str = "input") -> str:
    """Return one line an issue, errors first and no more than `TOLD`, then the counts; ends without a line break."""
    ordered = sorted(issues, key=lambda one: (_ORDER.index(one.severity), one))
    return "\n".join([*told(ordered), f"{source}: {_counts(issues)}"])


def errors_first(severity: str) -> int:
    """Return the place of a severity: where not all can be told, no error is left out for a remark."""
    return _ORDER.index(severity)


def operation_outcome(issues: Sequence[Issue]) -> dict[str, Any]:
    """Return an OperationOutcome: one issue each, with ``expression`` the path and ``details`` the key.

    Of more than `TOLD` it has the errors first, and says at the end how many more there are. Without issues it holds
    one of severity information, as R4 demands at least one.
    """
    if not issues:
        good = {"severity": "information", "code": "informational", "diagnostics": "No issues found."}
        return {"resourceType": "OperationOutcome", "issue": [good]}
    left = len(issues) - TOLD
    if left <= 0:
        return {"resourceType": "OperationOutcome", "issue": [_outcome_issue(one) for one in issues]}
    listed = sorted(issues, key=lambda one: errors_first(one.severity))[:TOLD]
    more = {"severity": "information", "code": "informational", "diagnostics": f"and {left} more"}
    return {"resourceType": "OperationOutcome", "issue": [*map(_outcome_issue, listed), more]}


def _outcome_issue(one: Issue) -> dict[str, Any]:
    return {
        "severity": one.severity,
        "code": one.code,
        "details": {"text": one.key},
        "diagnostics": f"{one.path}: {one.message}",
        "expression": [one.path.replace("[x]", "")],
    }


def _counts(issues: Sequence[Issue]) -> str:
    if not issues:
        return "valid, nothing to report"
    numbers = Counter[str](one.severity for one in issues)
    plural = {"error": "errors", "warning": "warnings", "information": "notes"}
    singular = {"error": "error", "warning": "warning", "information": "note"}
    parts = [f"{n} {singular[name] if n == 1 else plural[name]}" for name in _ORDER if (n := numbers[name])]
    return f"{'invalid' if numbers['error'] else 'valid'}, {', '.join(parts)}"
