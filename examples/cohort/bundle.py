"""A flat visit as a FHIR Bundle of type `collection`: newborn, Encounter with its clinic, Observations, orders."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

Resource = dict[str, Any]
OWN = "https://layette.example/fhir/CodeSystem"
BASE = "https://ehr.example.org/fhir"
BIRTH_TIME = "http://hl7.org/fhir/StructureDefinition/patient-birthTime"
SIDES = {"left": "7771000", "right": "24028007"}
"""SNOMED CT codes of the sides of a body, as in the other examples."""


def bundle(visit: Mapping[str, Any]) -> Resource:
    """Return one visit as a Bundle. Every patient in it is invented, and says so."""
    found = [_patient(visit), _encounter(visit), *_observations(visit), *(_order(visit, one) for one in _orders(visit))]
    entries = [{"fullUrl": f"{BASE}/{one['resourceType']}/{one['id']}", "resource": one} for one in found]
    return {"resourceType": "Bundle", "id": _id(visit["encounter"]), "type": "collection", "entry": entries}


def _id(reference: str) -> str:
    return reference.rpartition("/")[2]


def _patient(visit: Mapping[str, Any]) -> Resource:
    born = visit["born"]
    name = _id(visit["patient"])
    made: Resource = {
        "resourceType": "Patient", "id": name, "name": [{"text": f"{name} (invented)"}],
        "identifier": [{"system": "https://clinic.example.org/id/mrn", "value": name}],
        "birthDate": born[:10], "_birthDate": {"extension": [{"url": BIRTH_TIME, "valueDateTime": born}]},
    }  # fmt: skip
    return made | ({"gender": visit["sex_at_birth"]} if "sex_at_birth" in visit else {})


def _encounter(visit: Mapping[str, Any]) -> Resource:
    kind = {"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "AMB"}
    return {
        "resourceType": "Encounter", "id": _id(visit["encounter"]), "status": "finished", "class": kind,
        "subject": {"reference": visit["patient"]}, "period": {"start": visit["at"], "end": visit["at"]},
        "serviceProvider": {"display": visit["clinic"]},
    }  # fmt: skip


def _observations(visit: Mapping[str, Any]) -> Iterator[Resource]:
    number = 0
    for place, told in ((True, visit["findings"]), (False, visit.get("history", {}).get("findings", {}))):
        for name, values in told.items():
            for value in values if isinstance(values, list) else [values]:
                finding, _, side = name.partition(".")
                for one in (side,) if side != "both" else SIDES:
                    number += 1
                    yield _observation(visit, place, number, finding, one, value)


def _observation(visit: Mapping[str, Any], now: bool, number: int, finding: str, side: str, told: Any) -> Resource:
    value = told if isinstance(told, dict) else {"value": told}
    code = {"coding": [{"system": f"{OWN}/findings", "code": finding}]}
    made: Resource = {
        "resourceType": "Observation", "id": f"{_id(visit['encounter'])}-{number}",
        "status": value.get("status", "final"), "code": code, "subject": {"reference": visit["patient"]},
        "effectiveDateTime": value.get("time", visit["at"]),
    }  # fmt: skip
    if now:
        made["encounter"] = {"reference": visit["encounter"]}
    if side:
        made["bodySite"] = _side(side)
    if "unit" in value:
        amount = {"system": "http://unitsofmeasure.org", "code": value["unit"], "unit": value["unit"]}
        return made | {"valueQuantity": {"value": value["value"], **amount}}
    answer = {"system": f"{OWN}/findings", "code": f"{finding}.{value['value']}"}
    return made | {"valueCodeableConcept": {"coding": [answer]}}


def _side(side: str) -> Resource:
    return {"coding": [{"system": "http://snomed.info/sct", "code": SIDES[side]}], "text": side}


def _orders(visit: Mapping[str, Any]) -> list[Resource]:
    found: list[Resource] = visit.get("history", {}).get("orders", [])
    return found


def _order(visit: Mapping[str, Any], order: Mapping[str, Any]) -> Resource:
    made: Resource = {
        "resourceType": "ServiceRequest", "id": _id(order["reference"]), "status": order["status"], "intent": "order",
        "priority": order["priority"], "code": {"coding": [{"system": f"{OWN}/targets", "code": order["target"]}]},
        "subject": {"reference": visit["patient"]}, "authoredOn": order["time"],
    }  # fmt: skip
    if "side" in order:
        made["bodySite"] = [_side(order["side"])]
    return made | ({"note": [{"text": order["reason"]}]} if "reason" in order else {})
