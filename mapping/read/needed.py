"""What is not valid FHIR in an input, told apart: what stops the answer, and what nothing needs.

A record as it comes holds a nameless organisation, a provenance without an agent, a relative fullUrl. Only what is
wrong in an entry that is used stops a visit from being assessed; the rest is named and counted.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from layette.engine.errors import InputProblem
from layette.mapping.read.bundle.result import Outcome, ReadResult, around

_NOT_READ = (
    "text", "meta", "name", "telecom", "address", "photo", "contact", "communication", "maritalStatus",
    "generalPractitioner", "managingOrganization", "link",
)  # fmt: skip
"""Elements of a used entry that nothing is missed for: who somebody is is told by reference, by what is right of the
identifiers, and of a link by whom it names."""
UNREAD_ELEMENTS = frozenset((*_NOT_READ, "identifier"))
UNREAD = re.compile(
    rf"\.(?:(?P<element>{'|'.join(_NOT_READ)})|identifier(?:\[(?P<number>\d+)\](?P<extension>\.extension)?)?)(?=[.\[]|$)"
)

_DECIDES = re.compile(
    r"\.(?:resourceType|code|vaccineCode|topic|reasonCode|subject|patient|focus|encounter|status|contained)(?:[.\[]|$)"
)
"""Elements by which reading tells whether an entry is of use: what is wrong there may be why it was not used."""


class Sorted(NamedTuple):
    """The problems that stop the answer, and a sentence for each kind of what is wrong where nothing needs it."""

    fatal: tuple[InputProblem, ...]
    notices: tuple[str, ...]


def sorted_out(problems: Iterable[InputProblem], result: ReadResult) -> Sorted:
    """Tell the problems of the check apart by what reading took from the entries in which they stand."""
    outcomes = dict(result.outcomes)
    fatal: list[InputProblem] = []
    harmless: dict[tuple[str, str], list[InputProblem]] = {}
    for problem in problems:
        entry = _entry(problem.path, outcomes)
        if entry is None or not _harmless(problem, entry, outcomes[entry]):
            fatal.append(problem)
        else:
            element = re.sub(r"\[\d+\]", "", problem.path.removeprefix(entry))
            harmless.setdefault((element, problem.message), []).append(problem)
    return Sorted(tuple(fatal), tuple(_sentence(found) for found in harmless.values()))


def _harmless(problem: InputProblem, entry: str, outcome: Outcome) -> bool:
    """Whether nothing that is used needs the element in which a problem stands.

    A relative fullUrl leaves references without their end, which is a problem of reading where one is followed. Of what
    stands there twice reading takes the later version, or says that nobody can tell which holds.
    """
    if problem.path.endswith(".fullUrl"):
        settled = problem.message.endswith("(bdl-7)") and outcome is not Outcome.REFUSED
        return settled or problem.message.endswith("(full-url)")
    inside = problem.path.removeprefix(entry)
    if UNREAD.match(inside):
        return True
    return outcome < Outcome.USED and not _DECIDES.match(inside)


def _entry(path: str, outcomes: dict[str, Outcome]) -> str | None:
    """Return the entry in which a path lies; None for the envelope."""
    return next((place for place in _places(path) if place in outcomes), None)


def _places(path: str) -> Iterator[str]:
    for place in around(path):
        yield place
        yield f"{place}.resource"


def _sentence(found: list[InputProblem]) -> str:
    more = f" (and {len(found) - 1} more alike)" if len(found) > 1 else ""
    return f"{found[0].path}: {found[0].message}{more}; nothing that is used needs it"
