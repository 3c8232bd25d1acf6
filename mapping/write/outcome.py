"""Errors as a FHIR OperationOutcome, for callers that asked for FHIR."""

from __future__ import annotations

import re

from layette.engine.errors import TOLD, InputError, LayetteError, PackError, ReaderFailed, ReadersDisagree
from layette.mapping.write.run.context import Resource
from layette.mapping.write.words.wording import clean

_ISSUE = {
    "not-json": "structure", "structure": "structure", "patient": "required", "birth": "required",
    "too-large": "too-long", "contradiction": "business-rule", "age": "business-rule", "unknown-finding": "not-found",
}  # fmt: skip
_FHIRPATH = re.compile(r"^[A-Z][A-Za-z]*(\.[A-Za-z]+(\[\d+\])?)*$")


def to_outcome(error: LayetteError) -> Resource:
    """Return one issue a problem, with its path; then whatever is urgent in spite of the error."""
    return _outcome([*_said(error), *_more(error), *(_urgent(line, error) for line in error.urgent)])


def _said(error: LayetteError) -> list[Resource]:
    if isinstance(error, InputError):
        return _inputs(error)
    if isinstance(error, PackError):
        return [_issue("fatal", "exception", str(one)) for one in error.problems[:TOLD]]
    if isinstance(error, ReadersDisagree | ReaderFailed):
        return [_issue("fatal", "exception", str(error))]
    return [_issue("error", "processing", str(error))]


def _outcome(issues: list[Resource]) -> Resource:
    return {"resourceType": "OperationOutcome", "issue": issues or [_issue("error", "unknown", "no detail is known")]}


def _issue(severity: str, code: str, text: str) -> Resource:
    return {"severity": severity, "code": code, "diagnostics": clean(text) or "no detail is known"}


def _inputs(error: InputError) -> list[Resource]:
    found = []
    for problem in error.problems[:TOLD]:
        issue = _issue("error", _ISSUE.get(problem.code, "value"), str(problem))
        issue["details"] = {"text": clean(problem.message)}
        if _FHIRPATH.match(problem.path):
            issue["expression"] = [problem.path]
        found.append(issue)
    return found


def _more(error: LayetteError) -> list[Resource]:
    """Return an issue that says how many problems are not listed, if any are not."""
    left = len(error.problems) - TOLD if isinstance(error, InputError | PackError) else 0
    return [_issue("error", "too-costly", f"and {left} more problems")] if left > 0 else []


def _urgent(line: str, error: LayetteError) -> Resource:
    return _issue("warning", "informational", f"Urgent, {error.decided}: {line}")
