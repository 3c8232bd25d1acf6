"""Problems that a flat visit brings along: what was found wrong while it was made from another form, such as FHIR.

What was refused is missing from the findings, and must not pass for not examined. So the problems stand in the visit
itself, as its part ``problems``: no copy of it and no file can lose them, and none that has some is assessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from layette.engine.errors import INPUT_CODES, InputProblem

PART = "problems"
FIELDS = ("path", "code", "message", "value", "expected")


def written(problems: Iterable[InputProblem]) -> list[dict[str, str]]:
    """Return problems as a flat visit carries them, without empty fields."""
    return [{name: text for name in FIELDS if (text := str(getattr(one, name)))} for one in problems]


def taken_over(items: Iterable[Mapping[str, Any]]) -> list[InputProblem]:
    """Return the problems that a flat visit carries; one that does not say what is wrong is a problem all the same."""
    return [_problem({name: str(item.get(name) or "") for name in FIELDS}) for item in items]


def _problem(said: Mapping[str, str]) -> InputProblem:
    code = said["code"] if said["code"] in INPUT_CODES else "structure"
    message = said["message"] or "something was refused, and it is not said what"
    return InputProblem(said["path"] or PART, code, message, said["value"], said["expected"])
