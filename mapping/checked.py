"""FHIR is checked at the door, both ways: what comes in is refused with paths, what goes out is never invalid."""

from __future__ import annotations

from typing import Any

from ..engine.errors import InputProblem, LayetteError
from .validate import errors, validate


class OutputError(LayetteError):
    """What was about to be written is not valid FHIR: a fault of this program, so nothing is written."""


def input_problems(content: Any) -> tuple[InputProblem, ...]:
    """Return what makes FHIR input (a resource, or a list of them) invalid R4, each with its path."""
    resources = content if isinstance(content, list) else [content]
    found = [issue for resource in resources for issue in errors(validate(resource))]
    return tuple(InputProblem(issue.path, "invalid-fhir", f"{issue.message} ({issue.key})") for issue in found)


def checked_output(resource: dict[str, Any]) -> dict[str, Any]:
    """Return ``resource`` if it is valid FHIR R4; raises `OutputError` with every path otherwise."""
    found = errors(validate(resource))
    if found:
        raise OutputError("the result is not valid FHIR, so it is not written:\n" + "\n".join(map(str, found)))
    return resource
