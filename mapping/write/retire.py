"""Drafts of ours that a later answer took the place of, taken back: apart from the answer, and only untouched ones.

A batch of updates, each on condition of the version that was read (`ifMatch`): what somebody touched since answers 412
and stays, the rest goes. A retired draft is `revoked` with the coded reason "superseded", so that nobody reads it as
declined, and its answer key moves to a system of its own, so that the same answer lives when it comes back. Only what a
later answer names in `replaces` is retired: that less is asked for today takes nothing back.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from layette.mapping.codes import OWN
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Resource
from layette.mapping.write.run.origins import sources

STATUS_REASON = "http://hl7.org/fhir/StructureDefinition/request-statusReason"
"""The extension that R4 has for the reason of a ServiceRequest's status."""
SUPERSEDED = "superseded"
_WORDS = "Superseded by a later proposal, and touched by nobody"
_KINDS = ("ServiceRequest", "CommunicationRequest", "CarePlan")


def retirement(
    answer: Mapping[str, Any], source: Mapping[str, Any] | Sequence[Any] | None, base: str = keys.BASE
) -> Resource:
    """Return the batch that retires what an answer replaces; without entries where there is nothing to retire.

    ``answer`` is the transaction of `to_bundle`, which is posted first; ``source`` the FHIR input that it was made
    from, with the drafts as the server holds them; ``base`` the canonical base of our own systems.
    """
    held = sources(source)
    found = (held.get(name) for name in dict.fromkeys(_replaced(answer)))
    entries = [_entry(resource, base) for resource in found if resource is not None and _untouched(resource, base)]
    return {"resourceType": "Bundle", "type": "batch"} | ({"entry": entries} if entries else {})


def _replaced(answer: Mapping[str, Any]) -> Iterator[str]:
    for entry in answer.get("entry", ()):
        resource = entry["resource"]
        if resource["resourceType"] in _KINDS:
            yield from (link["reference"] for link in resource.get("replaces", ()))


def _untouched(resource: Mapping[str, Any], base: str) -> bool:
    """Whether a draft is ours, still fits its seal, and can be named with the version that was read."""
    if resource.get("status") != keys.DRAFT or resource.get("resourceType") not in _KINDS:
        return False
    meta = resource.get("meta") or {}
    seals = [tag.get("code") for tag in meta.get("tag") or () if tag.get("system") == f"{base}/{keys.SEALS}"]
    return seals == [keys.seal(resource)] and bool(resource.get("id") and meta.get("versionId"))


def _entry(resource: Mapping[str, Any], base: str) -> Resource:
    name = f"{resource['resourceType']}/{resource['id']}"
    request = {"method": "PUT", "url": name, "ifMatch": f'W/"{resource["meta"]["versionId"]}"'}
    return {"resource": _retired(resource, base), "request": request}


def _retired(draft: Mapping[str, Any], base: str) -> Resource:
    resource: Resource = copy.deepcopy(dict(draft)) | {"status": "revoked"}
    reason = {"system": f"{base}/{keys.TAGS}", "code": SUPERSEDED, "display": _WORDS}
    tags = [tag for tag in resource["meta"]["tag"] if tag.get("system") != f"{base}/{keys.SEALS}"]
    # On a CarePlan, for which R4 has no reason of a status, the tag alone says it.
    resource["meta"]["tag"] = [*tags, reason]
    for one in resource.get("identifier", ()):
        if one.get("system") == f"{base}/{keys.ANSWER_KEY}":
            one["system"] = f"{base}/{OWN['answer-key-retired']}"
    said = {"coding": [reason], "text": _WORDS}
    if resource["resourceType"] == "CommunicationRequest":
        resource["statusReason"] = said
    if resource["resourceType"] == "ServiceRequest":
        said_by = {"url": STATUS_REASON, "valueCodeableConcept": said}
        resource["extension"] = [*resource.get("extension", ()), said_by]
    return resource
