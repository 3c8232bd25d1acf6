"""The visit on the page as FHIR that the page opens again: baby, visit, and each recording as an Observation."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from layette.engine.api import Pack
from layette.mapping.answering import Answer
from layette.mapping.door import checked_output
from layette.mapping.write.resources import observations
from layette.mapping.write.run.context import Output, instant
from layette.mapping.write.run.origins import sources

Resource = dict[str, Any]
_BIRTH_TIME = "http://hl7.org/fhir/StructureDefinition/patient-birthTime"
_ACT = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
_KINDS = ("Patient", "Encounter", "Observation")
_LONGER_THAN_A_DAY = 10


def as_fhir(answer: Answer, pack: Pack) -> Resource:
    """Return a Bundle of type `collection` with Patient, Encounter and Observations, earlier ones among them.

    Orders, doses and what the family was told before are no recordings of the examination, and stay where they came
    from. Raises `OutputError` rather than give what is not valid R4.
    """
    names = {kind: f"urn:uuid:{uuid5(NAMESPACE_URL, f'{kind} {answer.assessment.born}')}" for kind in _KINDS[:2]}
    visit = {**answer.visit, "findings": _afresh(answer.visit.get("findings"))}
    history = answer.visit.get("history") or {}
    visit["history"] = {"findings": _afresh(history.get("findings"))}
    given = [
        _entry(names["Patient"], _patient(visit)),
        _entry(names["Encounter"], _encounter(answer, names["Patient"])),
    ]
    source = {"resourceType": "Bundle", "type": "collection", "entry": given}
    told = answer.assessment.model_copy(update={"patient": names["Patient"], "encounter": names["Encounter"]})
    out = Output(told, pack, visit, sources(source), answer.base.rstrip("/"))
    observations.write(out)
    made = [{"fullUrl": one["fullUrl"], "resource": one["resource"]} for one in out.entries]
    found = [one for one in made if one["resource"]["resourceType"] == _KINDS[2]]
    return checked_output({"resourceType": "Bundle", "type": "collection", "entry": [*given, *found]})


def _entry(name: str, resource: Resource) -> Resource:
    return {"fullUrl": name, "resource": resource}


def _afresh(findings: Any) -> Resource:
    """Return findings without the resources that they came from, so that each is written out here."""
    return {
        key: [_without(one) for one in (part if isinstance(part, list) else [part])]
        for key, part in (findings or {}).items()
    }


def _without(item: Any) -> Any:
    return {key: value for key, value in item.items() if key != "origin"} if isinstance(item, Mapping) else item


def _patient(visit: Mapping[str, Any]) -> Resource:
    born, sex = str(visit["born"]), str(visit.get("sex_at_birth") or "unknown")
    listed = [(one.get("system"), one.get("value")) for one in visit.get("identifiers") or []]
    named = [(system, value) for system, value in listed if isinstance(system, str) and isinstance(value, str)]
    identifiers = [{"system": system, "value": value} for system, value in named if system and value]
    if not identifiers:
        identifiers = [{"system": "urn:ietf:rfc:3986", "value": f"urn:uuid:{uuid5(NAMESPACE_URL, f'newborn {born}')}"}]
    made: Resource = {"resourceType": "Patient", "identifier": identifiers, "gender": sex, "birthDate": born[:10]}
    if len(born) > _LONGER_THAN_A_DAY:
        made["_birthDate"] = {"extension": [{"url": _BIRTH_TIME, "valueDateTime": instant(born)}]}
    return made


def _encounter(answer: Answer, patient: str) -> Resource:
    until = str(answer.visit.get("until") or "")
    end = {"end": instant(until)} if len(until) > _LONGER_THAN_A_DAY else {}
    return {
        "resourceType": "Encounter",
        "status": "in-progress",
        "class": {"system": _ACT, "code": "AMB"},
        "subject": {"reference": patient},
        "period": {"start": instant(answer.assessment.at)} | end,
    }
