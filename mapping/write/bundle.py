"""The whole answer as one FHIR R4 transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from layette.engine.answer.parts.assessment import Assessment
from layette.mapping.pack_view import PackView
from layette.mapping.write.resources import (
    care_plan,
    communications,
    computed,
    diagnoses,
    guidance_response,
    immunizations,
    observations,
    provenance,
    service_requests,
    summary,
)
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Parts, Resource
from layette.mapping.write.run.origins import sources
from layette.mapping.write.run.subject import subject
from layette.mapping.write.words import concepts


def to_bundle(
    assessment: Assessment,
    pack: PackView,
    *,
    source: Mapping[str, Any] | Sequence[Any] | None = None,
    base: str = keys.BASE,
    visit: Mapping[str, Any],
    parts: Parts = "care",
    language: str = "en",
) -> Resource:
    """Return a transaction Bundle: plain dicts and lists, numbers as `Decimal`.

    ``parts`` is how much goes out: `care`, what a person acts on; `inbox`, with a Task that asks to approve it; `all`,
    with the page, every measure and conclusion, and one resource a topic of guidance. ``language`` is that of the words
    for the family; what has no words in it is said in English.

    ``source`` is the FHIR input (a Bundle, a resource, several of these, or resources by reference), so that what
    came with an id or url is referenced and never written again. ``visit`` is the flat visit that was assessed.
    ``base`` is the canonical base of our code systems and identifiers. Equal arguments give equal Bundles; posting one
    twice changes nothing, because every entry is a conditional create. Raises nothing for a valid assessment.
    """
    out = Output(assessment, pack, visit, sources(source), base.rstrip("/"), parts, language)
    _write(out)
    return {
        "resourceType": "Bundle",
        "meta": {"tag": [concepts.tag(out, "proposal", assessment.caution)]},
        "identifier": {"system": out.system(keys.RUN_KEY), "value": out.run},
        "type": "transaction",
        "entry": sorted(out.entries, key=_place),
    }


_FIRST = ("Patient", "RelatedPerson", "Encounter", "Device", "CarePlan", "Task", "ServiceRequest",
          "CommunicationRequest", "Condition", "ImmunizationRecommendation")  # fmt: skip
"""What a person who reads the Bundle meets first; what it rests on comes after."""


def _place(entry: Resource) -> int:
    kind = entry["resource"]["resourceType"]
    return _FIRST.index(kind) if kind in _FIRST else len(_FIRST)


def _write(out: Output) -> None:
    """Make every entry."""
    subject(out)
    out.device = provenance.device(out)
    out.group = care_plan.group(out)
    evidence = observations.write(out)
    to_make = computed.plan(out, evidence)
    activity = [*service_requests.write(out, evidence), *communications.write(out, evidence)]
    conditions = diagnoses.write(out, evidence)
    vaccines = immunizations.write(out, evidence)
    plan = care_plan.write(out, activity, vaccines, conditions)
    if plan and out.parts == "inbox":
        care_plan.approval(out, plan)
    computed.write(out, evidence, to_make)
    if out.whole:
        summary.write(out)
    guidance_response.write(out, plan)
    provenance.write(out, evidence)
