"""What a server gives back of our proposals, without a server: with ids and versions, and links to ids."""

from __future__ import annotations

from typing import Any

from layette.mapping.fhir.json import dumps, loads

KINDS = {"ServiceRequest", "CommunicationRequest", "CarePlan"}


def held(bundle: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """Return the proposals of a transaction as a server holds them, each with the ``changes`` of somebody."""
    text = dumps(bundle)
    for number, entry in enumerate(bundle["entry"]):
        text = text.replace(entry["fullUrl"], f"{entry['resource']['resourceType']}/s{number}")
    proposals = [entry for entry in loads(text)["entry"] if entry["resource"]["resourceType"] in KINDS]
    kept = [one["resource"] | {"id": one["fullUrl"].split("/")[1]} for one in proposals]
    kept = [one | {"meta": one["meta"] | {"versionId": "3"}} | changes for one in kept]
    return {"resourceType": "Bundle", "type": "searchset", "entry": [{"resource": one} for one in kept]}
