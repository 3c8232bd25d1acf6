"""What every writer of a resource needs, and where it puts the entry that it makes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property, lru_cache
from typing import Any, Literal, get_args

from layette.engine.answer.parts.assessment import Assessment
from layette.mapping.pack_view import PackView
from layette.mapping.read.bundle.parts import identifiers
from layette.mapping.write.run import keys
from layette.mapping.write.run.origins import Sources
from layette.mapping.write.run.readings import GivenReading, readings

Resource = dict[str, Any]

Parts = Literal["care", "inbox", "all"]
PARTS: tuple[Parts, ...] = get_args(Parts)
"""How much goes out: what a person acts on; that with a Task for inboxes that work by task; all that there is."""

PROPOSAL = "Proposed by rules"
"""The caution on each request; its whole text stands once, with the run."""

LIVE = ("draft", "active", "on-hold", "completed")
"""The statuses under which an answer is there already: what was revoked or entered in error does not count as there."""


@dataclass
class Output:
    """One run on its way out: the assessment, what it was made from, and the entries made so far.

    ``sources`` are the input resources by reference; ``visit`` is the flat visit; ``language`` is that of the words
    for the family. ``remarks`` are the sentences that the output owes its reader (a Patient that got no entry, an order
    that answers a proposal already). ``device`` is the reference of the software, ``group`` what joins the requests of
    this run, ``planned`` the types of entries that are named and not made yet.
    """

    assessment: Assessment
    pack: PackView
    visit: Mapping[str, Any]
    sources: Sources
    base: str = keys.BASE
    parts: Parts = "care"
    language: str = "en"
    device: str = ""
    group: Resource = field(default_factory=dict)
    entries: list[Resource] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    made: dict[str, str] = field(default_factory=dict)
    planned: dict[str, str] = field(default_factory=dict)

    @cached_property
    def given(self) -> keys.Given:
        """The flat visit in its canonical form, without what an earlier run of ours left on the record."""
        return keys.Given(self.visit)

    @cached_property
    def readings(self) -> tuple[GivenReading, ...]:
        """All readings of the visit, one at a time, in a fixed order."""
        return readings(self.visit, self.at)

    @cached_property
    def identifiers(self) -> tuple[Resource, ...]:
        """The newborn's business identifiers that have a system and a value."""
        resource = self.sources.get(self.assessment.patient) if self.assessment.patient else None
        lists = [self.visit.get("identifiers"), (resource or {}).get("identifier")]
        return tuple(one for several in lists for one in identifiers(several) if "system" in one)

    @cached_property
    def patient_key(self) -> str:
        """What tells this newborn from others: an identifier, a server's reference, else this run alone.

        A newborn without a name must never share a key with another one: a conditional create would then
        swallow the second baby's requests.
        """
        if self.identifiers:
            return keys.digest(self.identifiers[0])
        patient = self.assessment.patient
        return patient if patient and not patient.startswith("urn:") else self.run

    @cached_property
    def run(self) -> str:
        """What names this run."""
        return keys.run_digest(self.assessment, self.given)

    @cached_property
    def reply(self) -> str:
        """What names what this run has to say: asked again at another moment, it is the same if nothing else is."""
        open_items = [(q.finding, q.side, q.state, q.worst) for step in self.assessment.steps for q in step.questions]
        due = [(one.rule, one.side, one.state) for one in self.assessment.due]
        return keys.reply_digest(self.assessment, self.given, [self.group.get("value"), open_items, due])

    @property
    def at(self) -> str:
        """The moment of the visit as a FHIR instant."""
        return instant(self.assessment.at)

    @property
    def authored(self) -> str:
        """When the proposals were written: at the end of the visit, so that all that was found in it is behind them."""
        until = str(self.visit.get("until") or "")
        return instant(until) if "T" in until else self.at

    def system(self, name: str) -> str:
        """Return the URI of one of our own systems, under the base."""
        return f"{self.base}/{name}"

    @property
    def whole(self) -> bool:
        """Whether all goes out that there is, and not only what a person acts on."""
        return self.parts == "all"

    def create(self, resource: Resource, key: str, condition: str) -> str:
        """Add a conditional create and return its reference; the same key is never added twice."""
        kind = str(resource["resourceType"])
        name = keys.urn(self.base, kind, key)
        self.place(name, resource, condition)
        return name

    def place(self, name: str, resource: Resource, condition: str) -> None:
        """Add a conditional create under a given ``fullUrl``, unless it is there already."""
        if name in self.made:
            return
        self.made[name] = str(resource["resourceType"])
        request = {"method": "POST", "url": resource["resourceType"], "ifNoneExist": condition}
        self.entries.append({"fullUrl": name, "resource": resource, "request": request})

    def identified(self, resource: Resource, system: str, value: str, name: str | None = None) -> str:
        """Add a resource under an identifier of ours that must exist once; return its reference, ``name`` if given."""
        uri = self.system(system)
        resource.setdefault("identifier", []).append({"system": uri, "value": value})
        condition = keys.token("identifier", uri, value)
        if name is None:
            return self.create(resource, f"{system}#{value}", condition)
        self.place(name, resource, condition)
        return name

    def proposed(self, resource: Resource, answer_key: str, alive: Iterable[str] = LIVE) -> str:
        """Add a proposal, sealed, unless its answer is there with a status of ``alive``; return its reference.

        What we retired carries its answer key under another system (`retire.py`), so it never stands in the way.
        """
        tags = resource.setdefault("meta", {}).setdefault("tag", [])
        tags.append({"system": self.system(keys.TAGS), "code": "proposal", "display": PROPOSAL})
        tags.append({"system": self.system(keys.SEALS), "code": keys.seal(resource)})
        condition = keys.token("identifier", self.system(keys.ANSWER_KEY), answer_key)
        return self.create(resource, f"{keys.ANSWER_KEY}#{answer_key}", f"{condition}&status={','.join(alive)}")

    def tagged(self, resource: Resource, system: str, value: str) -> str:
        """Add a resource that must exist once, told by a tag; return its reference.

        Provenance has no identifier in R4, and real servers do not search every other type by it; all know `_tag`.
        """
        uri = self.system(system)
        resource.setdefault("meta", {}).setdefault("tag", []).append({"system": uri, "code": value})
        return self.create(resource, f"{system}#{value}", keys.token("_tag", uri, value))


@lru_cache(maxsize=1000)  # much of an answer is of one time
def instant(text: str) -> str:
    """Return an ISO 8601 time with seconds and offset, as FHIR's instant and dateTime want it."""
    return datetime.fromisoformat(text).isoformat()


def effective(start: str, end: str) -> Resource:
    """Return when an Observation holds: a moment, a whole day, or the period in which that moment lies.

    A day goes out as its date alone: as a period it would seem to be known to end at midnight, after the visit.
    """
    if start == end:
        return {"effectiveDateTime": start}
    if start[:10] == end[:10] and start[10:19] == "T00:00:00" and end[10:19] == "T23:59:59":
        return {"effectiveDateTime": start[:10]}
    return {"effectivePeriod": {"start": start, "end": end}}


def period(start: str | None, until: str | None) -> Resource:
    """Return a FHIR Period; a start that lies after the end says nothing and is left out."""
    out: Resource = {}
    if start and not (until and datetime.fromisoformat(start) > datetime.fromisoformat(until)):
        out["start"] = instant(start)
    if until:
        out["end"] = instant(until)
    return out
