"""The published JSON Schema, asked about each resource by itself, and its answers turned into sentences.

The schema is cut for one type to what that type can reach; resources inside (contained, entries, parameters)
are cut out of it and asked separately, so that a message carries an exact path instead of "matches none of 146".
Where the schema is stricter than R4 it is loosened, and the walk checks instead: a text may hold any space, and the
language of an expression may be one that the schema does not list, as R4 binds it extensibly.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from functools import cache
from typing import Any

import jsonschema_rs

from layette.mapping.fhir.types import definition, elements
from layette.mapping.validate.rules.issue import At, Issue, issue

DRAFT = "http://json-schema.org/draft-06/schema#"

_WORDS: Mapping[str, str] = {
    "array": "a list in square brackets",
    "boolean": "true or false without quotes",
    "number": "a number without quotes",
    "object": "an object in braces",
    "string": "a string in quotes",
}

_SPELLING: Mapping[str, str] = {
    "canonical": "a URL without spaces",
    "code": "a code without leading, trailing or double spaces",
    "date": "a date such as 2026, 2026-01 or 2026-01-31",
    "dateTime": "a date, or a time with seconds and offset such as 2026-01-31T09:10:00-05:00",
    "id": "1 to 64 letters, digits, hyphens and points",
    "instant": "a time with seconds and offset such as 2026-01-31T09:10:00Z",
    "oid": "urn:oid: and an OID",
    "time": "a time of day with seconds such as 09:10:00",
    "uri": "a URI without spaces",
    "uuid": "urn:uuid: and a UUID in lower case",
}


TOGETHER = (
    "Bundle", "Communication", "CommunicationRequest", "Condition", "Device", "DiagnosticReport", "DocumentReference",
    "Encounter", "GuidanceResponse", "Immunization", "ImmunizationRecommendation", "List", "Observation",
    "OperationOutcome", "Patient", "Procedure", "Provenance", "QuestionnaireResponse", "RelatedPerson",
    "ServiceRequest",
)  # fmt: skip
"""The types that a visit and its answer are made of. Nearly all of a type's schema is that of its data types, so these
are compiled in one: for an answer of nine types that takes a third of the time."""


@cache
def definitions(kind: str) -> Mapping[str, Mapping[str, Any]]:
    """Return the published schema cut down to what resource type ``kind`` can reach, inner resources left open."""
    found: dict[str, Mapping[str, Any]] = {"ResourceList": {"type": "object"}}
    queue = [kind]
    while queue:
        name = queue.pop()
        if name not in found:
            found[name] = _loosened(name)
            queue += _referred(found[name])
    return found


def _loosened(name: str) -> Mapping[str, Any]:
    """Return a definition without what R4 does not ask: a text without no-break spaces, a closed list."""
    if name in {"string", "markdown"}:
        return {"type": "string"}
    body = definition(name)
    if name == "Expression":
        return {**body, "properties": {**body["properties"], "language": {"$ref": "#/definitions/code"}}}
    texts = {
        key: {"type": "string"}
        for key, schema in body.get("properties", {}).items()
        if "pattern" in schema and key.endswith(("String", "Markdown"))
    }
    return {**body, "properties": {**body["properties"], **texts}} if texts else body


def _referred(body: Mapping[str, Any]) -> list[str]:
    parts = [schema.get("items", schema) for schema in body.get("properties", {}).values()]
    return [str(part["$ref"]).rpartition("/")[2] for part in parts if "$ref" in part]


def validator(kind: str) -> jsonschema_rs.Draft6Validator:
    """Return the compiled schema of one resource type; it judges an object with the resource under its type."""
    return _compiled(TOGETHER if kind in TOGETHER else (kind,))


@cache
def _compiled(kinds: tuple[str, ...]) -> jsonschema_rs.Draft6Validator:
    needed = {name: body for kind in kinds for name, body in definitions(kind).items()}
    under = {kind: {"$ref": f"#/definitions/{kind}"} for kind in kinds}
    return jsonschema_rs.Draft6Validator({"$schema": DRAFT, "properties": under, "definitions": needed})


@cache
def _spellings() -> Mapping[str, str]:
    """Return pattern -> what it wants, in words."""
    return {definition(name)["pattern"]: words for name, words in _SPELLING.items()}


def schema_issues(resource: dict[str, Any], kind: str, at: At) -> Iterator[Issue]:
    """Yield what the schema finds wrong in one resource, apart from nulls, which the walk judges."""
    check, wrapped = validator(kind), {kind: resource}
    if check.is_valid(wrapped):
        return
    for error in check.iter_errors(wrapped):
        if error.instance is not None:
            yield from _sentences(error, _place(error.instance_path[1:], at))


def _place(steps: list[str | int], at: At) -> At:
    for step in steps:
        at = (at[0], at[1], step) if isinstance(step, int) else (at, step, -1)
    return at


def _sentences(error: Any, at: At) -> Iterator[Issue]:
    kind = error.kind
    match kind.name:
        case "additionalProperties":
            for name in kind.unexpected:
                if not _forgotten(name, error.schema_path[-2]):
                    yield issue((at, name, -1), "unknown-element", _unknown(name, error.schema_path[-2]))
        case "type":
            due = " or ".join(_WORDS.get(str(word), str(word)) for word in kind.types)
            yield issue(at, "type", f"{due[0].upper()}{due[1:]} is due here.")
        case "pattern":
            words = _spellings().get(kind.pattern, "a value of the spelling that its type gives")
            yield issue(at, "format", f"This should be {words}.")
        case "enum":
            yield issue(at, "binding", f"This should be one of {', '.join(map(str, kind.options))}.")
        case "required":
            yield issue((at, kind.property, -1), "required", f"{kind.property} is missing; R4 demands it.")
        case _:
            yield issue(at, "type", "This is not of the shape that R4 gives it.")


def _forgotten(name: str, kind: str) -> bool:
    """Return whether a name is the companion of a primitive: the schema leaves out those of canonical elements."""
    element = elements(kind).get(name[1:]) if name.startswith("_") else None
    return element is not None and element.primitive


def _unknown(name: str, kind: str) -> str:
    of = kind.replace("_", " ")
    close = get_close_matches(name, list(elements(kind)), 1, 0.7)
    return f"{of} has no element of this name{f'; {close[0]} may be meant' if close else ''}."
