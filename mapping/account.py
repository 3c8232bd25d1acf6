"""The account of an input in one line: what was read, and what became of it. The numbers always add up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from layette.engine.errors import InputProblem
from layette.mapping.read import ReadResult
from layette.mapping.read.bundle.result import around


def counted_entries(result: ReadResult, word: str, problems: Iterable[InputProblem]) -> str:
    """Return the account of FHIR (``entries``) or HL7 v2 (``segments``)."""
    return f"{result.counts_with((*result.problems, *problems))}.".replace("entries", word)


def counted_flat(visit: Mapping[str, Any], problems: Iterable[InputProblem]) -> str:
    """Return the account of a flat visit, whose readings have no entries around them."""
    places = list(_readings(visit))
    paths = {problem.path for problem in problems}
    inside = {place for path in paths for place in around(path)}
    refused = sum(place in inside or not paths.isdisjoint(around(place)) for place in places)
    kept = visit.get("not_understood")
    several = len(kept) if isinstance(kept, list) else 0
    return f"{len(places)} readings of a flat visit read, {several} kept but not understood, {refused} refused."


def _readings(visit: Mapping[str, Any]) -> Iterator[str]:
    """Yield the path of each reading, by which errors name it."""
    history = visit.get("history")
    earlier = history.get("findings") if isinstance(history, Mapping) else None
    for start, findings in (("findings", visit.get("findings")), ("history.findings", earlier)):
        for name, given in findings.items() if isinstance(findings, Mapping) else ():
            several = given if isinstance(given, list) else [given]
            for number, one in enumerate(several):
                place = f"{start}.{name}[{number}]" if isinstance(given, list) else f"{start}.{name}"
                own = one.get("path") if isinstance(one, Mapping) else None
                yield own if isinstance(own, str) else place
