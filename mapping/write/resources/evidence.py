"""Where each value that a rule read stands in FHIR: an input resource, or one that this run writes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime

from layette.engine.answer.shapes.proposed import Used
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.run.readings import GivenReading, moment
from layette.mapping.write.run.subject import point

REASONS = frozenset({"Condition", "Observation", "DiagnosticReport", "DocumentReference"})
"""What `reasonReference` of a ServiceRequest may point to in R4."""

DERIVABLE = frozenset(
    {"Observation", "QuestionnaireResponse", "DocumentReference", "ImagingStudy", "Media", "MolecularSequence"}
)
"""What `derivedFrom` of an Observation may point to in R4."""

_UNUSED = ("entered-in-error", "cancelled")


@dataclass
class Evidence:
    """References by what they are about: readings by finding, side and time; computed values by name.

    ``cited`` are the references that something which goes out rests on, in the order in which they were asked for.
    """

    readings: dict[str, list[tuple[GivenReading, str]]] = field(default_factory=dict)
    computed: dict[str, str] = field(default_factory=dict)
    cited: dict[str, None] = field(default_factory=dict)

    def add(self, reading: GivenReading, reference: str) -> None:
        """Say where a reading stands."""
        self.readings.setdefault(reading.finding, []).append((reading, reference))

    def find(self, out: Output, used: Used) -> Iterator[str]:
        """Yield the references of a value; none where it cannot be told for sure which reading it was."""
        if used.origin and point(out, used.origin):
            yield used.origin
            return
        name, *views = used.subject.split(".")
        if name in self.computed:
            yield self.computed[name]
            return
        side = next((side for side in ("left", "right") if side in views or used.label.endswith(f", {side}")), None)
        mine = self.readings.get(name, ())
        fits = [(g, r) for g, r in mine if side in (None, g.side) and g.status not in _UNUSED]
        span = moment(used.time, out.visit, out.at) if used.time else None
        exact = [(g, r) for g, r in fits if span and _meet((g.start, g.end), span)]
        said = [(g, r) for g, r in exact if str(g.value) == used.value]
        for _, reference in said or exact or (fits if len(fits) == 1 else ()):
            yield reference

    def references(self, out: Output, values: Iterable[Used]) -> list[str]:
        """Return the references of several values, each once, in order; they are cited from now on."""
        found = dict.fromkeys(reference for used in values for reference in self.find(out, used))
        self.cited |= found
        return list(found)


def _meet(first: tuple[str, str], second: tuple[str, str]) -> bool:
    """Whether two spans of time have a moment in common."""
    (start, end), (other, last) = (tuple(map(datetime.fromisoformat, span)) for span in (first, second))
    return start <= last and other <= end


def kind_of(out: Output, reference: str) -> str:
    """Return the resource type that a reference points to, or an empty string."""
    if reference in out.made or reference in out.planned:
        return out.made.get(reference) or out.planned[reference]
    resource = out.sources.get(reference)
    if resource is not None:
        return str(resource.get("resourceType"))
    parts = reference.split("/_history/")[0].split("/")
    return parts[-2] if len(parts) > 1 else ""


def split(out: Output, references: Iterable[str], kinds: frozenset[str]) -> tuple[list[Resource], list[Resource]]:
    """Return References of the given types, and the others."""
    yes: list[Resource] = []
    no: list[Resource] = []
    for reference in references:
        (yes if kind_of(out, reference) in kinds else no).append({"reference": reference})
    return yes, no
