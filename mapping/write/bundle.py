"""The whole answer as one FHIR R4 transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from layette.engine.answer.parts.assessment import Assessment
from layette.mapping.pack_view import PackView
from layette.mapping.write.resources import (
    communications,
    computed,
    diagnoses,
    guidance_responses,
    immunizations,
    observations,
    provenance,
    service_requests,
    summary,
)
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Resource
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
) -> Resource:
    """Return a transaction Bundle: plain dicts and lists, numbers as `Decimal`.

    ``source`` is the FHIR input (a Bundle, a resource, several of these, or resources by reference), so that what
    came with an id or url is referenced and never written again. ``visit`` is the flat visit that was assessed.
    ``base`` is the canonical base of our code systems and identifiers. Equal arguments give equal Bundles; posting one
    twice changes nothing, because every entry is a conditional create. Raises nothing for a valid assessment.
    """
    out = Output(assessment, pack, visit, sources(source), base.rstrip("/"))
    _write(out)
    return {
        "resourceType": "Bundle",
        "meta": {"tag": [concepts.tag(out, "proposal", assessment.caution)]},
        "identifier": {"system": out.system(keys.RUN_KEY), "value": out.run},
        "type": "transaction",
        "entry": out.entries,
    }


def _write(out: Output) -> None:
    """Make every entry."""
    subject(out)  # the newborn first, so that a person who reads the Bundle meets them first
    software = provenance.device(out)
    evidence = observations.write(out)
    computed.write(out, evidence)
    service_requests.write(out, evidence)
    communications.write(out, evidence)
    diagnoses.write(out, evidence)
    immunizations.write(out, evidence)
    summary.write(out)
    guidance_responses.write(out, software)
    provenance.write(out, software)
