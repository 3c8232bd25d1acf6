"""What a request gets back, errors included: whole, in the form that the caller reads."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from layette.engine.errors import TOLD, InputError, LayetteError
from layette.engine.visit.carried import written
from layette.mapping.fhir.json import dumps
from layette.mapping.write import to_outcome

JSON, HTML = "application/json", "text/html; charset=utf-8"
FHIR_JSON, FHIR_XML = "application/fhir+json", "application/fhir+xml"

BAD_INPUT, TOO_LARGE, FAULT = 422, 413, 500


@dataclass(frozen=True, slots=True)
class Reply:
    """A whole reply: its status, its media type, its bytes, and headers beside those that every reply has."""

    status: int
    media: str
    body: bytes
    headers: Mapping[str, str] = field(default_factory=dict)


REFUSALS: Mapping[str, tuple[int, str]] = {
    "too-large": (413, "too-long"),
    "too-slow": (503, "timeout"),
    "busy": (503, "throttled"),
    "upload": (408, "timeout"),
    "host": (421, "forbidden"),
    "origin": (403, "forbidden"),
    "media-type": (415, "not-supported"),
    "accept": (406, "not-supported"),
    "not-found": (404, "not-found"),
    "method": (405, "not-supported"),
    "query": (422, "invalid"),
    "fault": (500, "exception"),
}
"""What the service refuses by itself, before or beside the engine: status, and the code of an issue in FHIR."""


class Refusal(Exception):  # noqa: N818 - it is an answer, not a fault
    """A request that the service refuses by itself, with what would be right."""

    def __init__(self, code: str, message: str, value: str = "", expected: str = "") -> None:
        """Refuse for a reason that stands in `REFUSALS`."""
        super().__init__(code, message, value, expected)
        self.code, self.message, self.value, self.expected = code, message, value, expected

    def reply(self, form: str) -> Reply:
        """Return it as problems, or as an OperationOutcome where ``form`` is FHIR."""
        status, issue = REFUSALS[self.code]
        headers = {"Retry-After": "2"} if self.code in ("busy", "too-slow") else {}
        if form in (FHIR_JSON, FHIR_XML):
            text = self.message + (f"; expected {self.expected}" if self.expected else "")
            severity = "fatal" if status >= FAULT else "error"
            told = {"severity": severity, "code": issue, "diagnostics": text, "details": {"text": self.code}}
            return fhir({"resourceType": "OperationOutcome", "issue": [told]}, form, status, headers)
        said = {"path": "request", "code": self.code, "message": self.message}
        said |= {"value": self.value} if self.value else {}
        said |= {"expected": self.expected} if self.expected else {}
        return plain({"problems": [said], "urgent": []}, status, headers)


def plain(content: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> Reply:
    """Return JSON of our own."""
    return Reply(status, JSON, json.dumps(content, ensure_ascii=False).encode(), headers or {})


def fhir(resource: dict[str, Any], form: str, status: int = 200, headers: Mapping[str, str] | None = None) -> Reply:
    """Return a resource as JSON or XML."""
    if form == FHIR_XML:
        from layette.mapping.fhir.xml import to_xml

        return Reply(status, FHIR_XML, to_xml(resource), headers or {})
    return Reply(status, FHIR_JSON, dumps(resource).encode(), headers or {})


def refused(error: LayetteError, form: str = JSON) -> Reply:
    """Return an error of the engine or of reading, with what is urgent in spite of it."""
    if form in (FHIR_JSON, FHIR_XML):
        return fhir(to_outcome(error), form, _status(error))
    problems = _problems(error)
    told: dict[str, Any] = {"problems": problems[:TOLD], "urgent": list(error.urgent)}
    left = len(problems) - TOLD
    return plain(told | ({"more": left} if left > 0 else {}), _status(error))


def _status(error: LayetteError) -> int:
    if not isinstance(error, InputError):
        return FAULT
    return TOO_LARGE if any(problem.code == "too-large" for problem in error.problems) else BAD_INPUT


def _problems(error: LayetteError) -> list[dict[str, str]]:
    if isinstance(error, InputError):
        return written(error.problems)
    return [{"path": "request", "code": "fault", "message": str(error)}]
