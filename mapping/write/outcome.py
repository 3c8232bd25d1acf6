"""Errors as a FHIR OperationOutcome, for callers that asked for FHIR."""

from __future__ import annotations

import re

from layette.engine.errors import InputError, LayetteError, PackError, ReadersDisagree
from layette.mapping.write.run.context import Resource
from layette.mapping.write.words.wording import clean

_ISSUE = {
    "not-json": "structure", "structure": "structure", "patient": "required", "birth": "required",
    "too-large": "too-long", "contradiction": "business-rule", "age": "business-rule", "unknown-finding": "not-found",
}  # fmt: skip
_FHIRPATH = re.compile(r"^[A-Z][A-Za-z]*(\.[A-Za-z]+(\[\d+\])?)*$")


def to_outcome(error: LayetteError) -> Resource:
    """Return one issue a problem, with its path; then whatever is urgent in spite of the error."""
    if isinstance(error, InputError):
        return _outcome([*_inputs(error), *(_urgent(line) for line in error.urgent)])
    if isinstance(error, PackError):
        return _outcome([_issue("fatal", "exception", str(one)) for one in error.problems])
    if isinstance(error, ReadersDisagree):
        return _outcome([_issue("fatal", "exception", str(error))])
    return _outcome([_issue("error", "processing", str(error))])


def _outcome(issues: list[Resource]) -> Resource:
    return {"resourceType": "OperationOutcome", "issue": issues or [_issue("error", "unknown", "no detail is known")]}


def _issue(severity: str, code: str, text: str) -> Resource:
    return {"severity": severity, "code": code, "diagnostics": clean(text) or "no detail is known"}


def _inputs(error: InputError) -> list[Resource]:
    found = []
    for problem in error.problems:
        issue = _issue("error", _ISSUE.get(problem.code, "value"), str(problem))
        issue["details"] = {"text": clean(problem.message)}
        if _FHIRPATH.match(problem.path):
            issue["expression"] = [problem.path]
        found.append(issue)
    return found


def _urgent(line: str) -> Resource:
    return _issue("warning", "informational", f"Urgent, decided by the rest of the input: {line}")
