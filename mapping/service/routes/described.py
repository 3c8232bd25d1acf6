"""How bodies and replies are described in OpenAPI: a route reads bytes, so that no digit of a number is lost."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from layette.mapping.service.reply import FHIR_JSON, FHIR_XML

Described = dict[int | str, dict[str, Any]]


class Problem(BaseModel):
    """One thing that is wrong: where, its kind, what, the value found, what would be right."""

    path: str
    code: str
    message: str
    value: str = ""
    expected: str = ""


class Problems(BaseModel):
    """All that is wrong at once; ``urgent``: what is an emergency all the same. ``more``: problems not listed."""

    problems: list[Problem]
    urgent: list[str]
    more: int = 0


def _body(content: dict[str, Any]) -> dict[str, Any]:
    return {"requestBody": {"required": True, "content": content}}


def _of_schema(name: str) -> dict[str, Any]:
    return {"schema": {"$ref": f"/schemas/{name}.schema.json"}}


_ANY_FHIR: dict[str, Any] = {"schema": {"type": "object", "description": "A FHIR R4 resource"}}
_FHIR = {FHIR_JSON: _ANY_FHIR, FHIR_XML: {"schema": {"type": "string"}}}

VISIT = _body({"application/json": _of_schema("visit")})
FHIR_BODY = _body(_FHIR)
FILE = _body({"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}})

_ANSWERED = {
    "type": "object",
    "properties": {
        "assessment": {"$ref": "/schemas/assessment.schema.json"},
        "account": {"type": "string"},
        "problems": {"type": "array", "maxItems": 0, "items": {}},
        "page": {"type": "string"},
    },
}
ANSWER: Described = {200: {"description": "The answer", "content": {"application/json": {"schema": _ANSWERED}}}}
HTML_PAGE: Described = {200: {"description": "A page", "content": {"text/html": {"schema": {"type": "string"}}}}}
FHIR_REPLY: Described = {200: {"description": "FHIR R4", "content": _FHIR}}

_STATUSES = {413: "It is too large", 415: "It is of another kind", 422: "It cannot be used", 503: "Later"}


def problems() -> Described:
    """Return the replies that tell of problems."""
    return {status: {"model": Problems, "description": text} for status, text in _STATUSES.items()}


def outcomes() -> Described:
    """Return the replies that tell of problems as an OperationOutcome."""
    return {status: {"content": _FHIR, "description": text} for status, text in _STATUSES.items()}
