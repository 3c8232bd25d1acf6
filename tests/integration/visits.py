"""Visits for the server: the shipped examples as their owner would hold them, and an invented baby seen twice."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

from support.shipped_examples import source

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack, load_pack
from layette.mapping.door import checked_output
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.read import ReadResult, read
from layette.mapping.write import BASE, to_bundle

Resource = dict[str, Any]
OWNED = ("Patient", "RelatedPerson", "Encounter", "ServiceRequest", "Communication", "Immunization", "List")
"""What the record system of an example holds by itself; its Observations are written by us in some tests."""


@cache
def pack() -> Pack:
    """The shipped pack."""
    return load_pack()


def assessed(visit: Any) -> Assessment:
    """Assess with one reader, so that the answer does not depend on what is installed."""
    return pack().assess(visit, readers=["native"])


def answer(given: Any, visit: Any) -> Resource:
    """Return the checked transaction for FHIR input that was read as ``visit``."""
    return checked_output(to_bundle(assessed(visit), pack(), source=given, visit=visit))


def plain(resource: Any) -> Any:
    """Return FHIR as json writes it: what a server gives back."""
    return json.loads(dumps(resource))


def taken(given: Any) -> ReadResult:
    """Read FHIR that a server gave back, with its decimals."""
    result = read(loads(json.dumps(given).encode("utf-8")), pack())
    assert result.problems == ()
    return result


@cache
def posted(name: str) -> Resource:
    """Return the transaction of an example, whose findings lie on another server."""
    given = source(name)
    return answer(given, read(given, pack()).visit)


def as_flat(name: str) -> Resource:
    """Return an example as a flat visit: no finding has a resource, so that all of them are written."""
    visit: Resource = dict(read(source(name), pack()).visit)
    history = dict(visit.get("history") or {})
    found = {"findings": _bare(visit["findings"])}
    return visit | found | {"history": history | {"findings": _bare(history.get("findings") or {})}}


def _bare(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _bare(inner) for key, inner in value.items() if key not in ("origin", "path")}
    return [_bare(inner) for inner in value] if isinstance(value, list) else value


def owned(name: str) -> list[Resource]:
    """Return what the record system of an example holds beside the findings."""
    resources = [entry["resource"] for entry in source(name)["entry"]]
    return [plain(one) for one in resources if one["resourceType"] in OWNED]


def baby(number: int) -> Resource:
    """An invented newborn, as the record system holds it."""
    born = "http://hl7.org/fhir/StructureDefinition/patient-birthTime"
    return {
        "resourceType": "Patient", "id": f"fern-{number}", "gender": "female", "birthDate": "2026-05-01",
        "_birthDate": {"extension": [{"url": born, "valueDateTime": "2026-05-01T08:00:00-05:00"}]},
        "identifier": [{"system": "https://ehr.example.org/mrn", "value": f"fern-{number}"}],
    }  # fmt: skip


def seen(number: int, day: str, **findings: str) -> list[Resource]:
    """Return the Encounter of a day and its findings, named by our own code system."""
    at, who = f"2026-05-{day}T10:00:00-05:00", {"reference": f"Patient/fern-{number}"}
    visit = f"visit-{number}-{day}"
    encounter = {
        "resourceType": "Encounter", "id": visit, "status": "finished", "class": {"code": "AMB"}, "subject": who,
        "period": {"start": at, "end": at},
    }  # fmt: skip
    return [encounter] + [
        {
            "resourceType": "Observation", "id": f"{visit}-{name.replace('_', '-')}", "status": "final", "subject": who,
            "encounter": {"reference": f"Encounter/{visit}"}, "effectiveDateTime": at,
            "code": {"coding": [{"system": f"{BASE}/CodeSystem/findings", "code": name}]},
        } | _value(name, value)
        for name, value in findings.items()
    ]  # fmt: skip


def _value(name: str, value: str) -> Resource:
    if value.isdecimal():
        count = {"value": int(value), "unit": "{count}", "system": "http://unitsofmeasure.org", "code": "{count}"}
        return {"valueQuantity": count}
    coding = {"system": f"{BASE}/CodeSystem/findings", "code": f"{name}.{value}"}
    return {"valueCodeableConcept": {"coding": [coding]}}


def bundle(resources: list[Resource]) -> Resource:
    """Return resources as a collection, as an integrator would send them."""
    return {"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in resources]}


def taken_example(name: str) -> Resource:
    """Return the flat visit that an example is read as."""
    return dict(read(source(name), pack()).visit)
