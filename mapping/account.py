"""The account of an input: what became of everything that was read. The numbers always add up."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

from layette.engine.errors import InputProblem
from layette.mapping.read.bundle.result import Counts, NotUsed, ReadResult, around

Form = Literal["entries", "segments", "readings"]
"""What an input consists of: entries of FHIR, segments of HL7 v2, readings of a flat visit."""


@dataclass(frozen=True, slots=True)
class Account:
    """What became of an input, entry by entry; as text it is one line.

    ``not_understood`` was kept and is reported: path, code, text, why. Nothing was taken from what is ``not_used``.
    ``notices`` are sentences about what was read otherwise than it was printed, or is not as a profile wants it. A
    flat visit holds nothing but readings, so its ``counts`` are of these alone.
    """

    form: Form
    counts: Counts
    not_understood: tuple[Mapping[str, Any], ...] = ()
    not_used: tuple[NotUsed, ...] = ()
    notices: tuple[str, ...] = ()

    def __str__(self) -> str:
        """Return the account in one line."""
        if self.form != "readings":
            return f"{self.counts}.".replace("entries", self.form)
        kept = len(self.not_understood)
        number, refused = self.counts.entries, self.counts.refused
        return f"{number} readings of a flat visit read, {kept} kept but not understood, {refused} refused."


def account_of(
    result: ReadResult, form: Form, notices: Iterable[str], problems: Iterable[InputProblem] = ()
) -> Account:
    """Return the account of FHIR or HL7 v2; ``problems`` are what others refused beside reading."""
    counts = result.counts_with((*result.problems, *problems))
    return Account(form, counts, tuple(result.not_understood), result.not_used, tuple(notices))


def account_of_flat(visit: Mapping[str, Any], problems: Iterable[InputProblem] = ()) -> Account:
    """Return the account of a flat visit, whose readings have no entries around them."""
    places = list(_readings(visit))
    paths = {problem.path for problem in problems}
    inside = {place for path in paths for place in around(path)}
    refused = sum(place in inside or not paths.isdisjoint(around(place)) for place in places)
    kept = visit.get("not_understood")
    counts = Counts(len(places), len(places) - refused, 0, 0, refused)
    return Account("readings", counts, tuple(kept) if isinstance(kept, list) else ())


def _readings(visit: Mapping[str, Any]) -> Iterator[str]:
    """Yield the path of each reading, by which errors name it."""
    history = visit.get("history")
    earlier = history.get("findings") if isinstance(history, Mapping) else None
    for start, findings in (("findings", visit.get("findings")), ("history.findings", earlier)):
        for name, written in findings.items() if isinstance(findings, Mapping) else ():
            several = written if isinstance(written, list) else [written]
            for number, reading in enumerate(several):
                place = f"{start}.{name}[{number}]" if isinstance(written, list) else f"{start}.{name}"
                own = reading.get("path") if isinstance(reading, Mapping) else None
                yield own if isinstance(own, str) else place
