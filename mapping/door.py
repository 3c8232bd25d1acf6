"""FHIR is checked at the door, both ways: what comes in is refused with paths, what goes out is never invalid."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any, NamedTuple

from layette.engine.errors import InputProblem, LayetteError, told
from layette.mapping.validate import Issue, errors, validate

PROFILE = "vital-sign"
SYSTEM = ("absolute-uri", "format")


class OutputError(LayetteError):
    """What was about to be written is not valid FHIR: a fault of this program, so nothing is written."""


class InputCheck(NamedTuple):
    """What the check of FHIR input found.

    ``problems`` make it invalid R4, each with its path. ``notices`` name what does not meet the vital-sign profiles,
    and systems that nobody can compare, such as ``LOINC``: it is said, and read all the same, because the reader judges
    units and codes itself. A weight in "lb" is understood, and shown converted; a code of no system is kept.
    """

    problems: tuple[InputProblem, ...]
    notices: tuple[str, ...]


def check_input(content: Any) -> InputCheck:
    """Check FHIR input: a resource, or a list of them."""
    found = _issues(content)
    invalid = (issue for issue in found if not _read_all_the_same(issue))
    problems = (InputProblem(issue.path, "invalid-fhir", f"{issue.message} ({issue.key})") for issue in invalid)
    return InputCheck(tuple(problems), tuple(_notices(issue for issue in found if _read_all_the_same(issue))))


def _read_all_the_same(issue: Issue) -> bool:
    return issue.key == PROFILE or (issue.key in SYSTEM and issue.path.endswith(".system"))


def _notices(found: Iterable[Issue]) -> Iterator[str]:
    """Yield a sentence for each that falls short of a profile, and one for all systems of which the same is to say."""
    alike: dict[str, list[Issue]] = {}
    for issue in found:
        alike.setdefault(issue.path if issue.key == PROFILE else issue.message, []).append(issue)
    for first, *more in alike.values():
        others = f" (and {len(more)} more alike)" if more and first.key != PROFILE else ""
        yield f"{first.path}: {first.message} ({first.key}){others}"
        yield from (f"{one.path}: {one.message} ({one.key})" for one in more if first.key == PROFILE)


def _issues(content: Any) -> list[Issue]:
    if not isinstance(content, list):
        return errors(validate(content))
    return [_of_one(issue, f"[{number}]") for number, part in enumerate(content) for issue in errors(validate(part))]


def _of_one(issue: Issue, place: str) -> Issue:
    """Return an issue of one resource of a list under the path that reading has for it."""
    kind, _, rest = issue.path.partition(".")
    inside = issue.path if kind == "Bundle" else rest
    return replace(issue, path=f"{place}.{inside}" if inside else place)


def checked_output(resource: dict[str, Any]) -> dict[str, Any]:
    """Return ``resource`` if it is valid FHIR R4; raises `OutputError` with every path otherwise."""
    found = errors(validate(resource))
    if found:
        raise OutputError("the result is not valid FHIR, so it is not written:\n" + "\n".join(told(found)))
    return resource
