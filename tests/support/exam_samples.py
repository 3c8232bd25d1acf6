"""Random visits over a finding dictionary, the same facts as a response to the exam and as Observations."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from random import Random
from typing import Any

from layette.engine.api import Pack
from layette.engine.exact.units import convert, exact
from layette.engine.pack.written.shapes import FindingShape
from layette.mapping.codes import ABSENT_REASON, OWN_BASE, SYSTEMS
from layette.mapping.export import export
from layette.mapping.read.codes.exam_form import exam_url, link

Resource = dict[str, Any]
BORN, AT = "2026-11-20T08:30:00-06:00", "2026-11-24T10:00:00-06:00"
FINDINGS = f"{OWN_BASE}/CodeSystem/findings"
REASONS = ("not-performed", "asked-declined", "asked-unknown", "temp-unknown", "unknown")
COMPARATORS = {"below": "<", "at_most": "<=", "at_least": ">=", "more_than": ">"}
PATIENT: Resource = {
    "resourceType": "Patient", "id": "mara", "identifier": [{"system": "urn:x", "value": "7"}], "birthDate": BORN[:10],
    "_birthDate": {"extension": [
        {"url": "http://hl7.org/fhir/StructureDefinition/patient-birthTime", "valueDateTime": BORN}]},
}  # fmt: skip
ENCOUNTER: Resource = {
    "resourceType": "Encounter", "id": "1", "status": "finished",
    "class": {"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "AMB"},
    "subject": {"reference": "Patient/mara"}, "period": {"start": AT, "end": AT},
}  # fmt: skip


def random_visit(pack: Pack, seed: int, share: float = 0.5) -> Resource:
    """A flat visit that records a share of the dictionary, in every form that the exam can take."""
    draw = Random(seed)
    findings = {
        name: readings
        for name, shape in pack.findings.items()
        if draw.random() < share and (readings := list(_readings(draw, pack, name, shape)))
    }
    return flat(findings, draw.choice(("male", "female")))


def flat(findings: Mapping[str, Any], sex: str = "female") -> Resource:
    """A flat visit of the sample newborn."""
    return {
        "patient": "Patient/mara", "identifiers": [{"system": "urn:x", "value": "7"}], "encounter": "Encounter/1",
        "born": BORN, "at": AT, "sex_at_birth": sex, "findings": dict(findings),
    }  # fmt: skip


def _readings(draw: Random, pack: Pack, name: str, shape: FindingShape) -> Iterator[Resource]:
    if shape.readings is not None:
        for _ in range(draw.randint(1, shape.readings.at_most)):
            yield _attempt(draw, shape)
        return
    for side in shape.sides or (None,):
        if side and draw.random() < 0.3:
            continue
        several = draw.choice((1, 1, 2)) if shape.number else 1
        for _ in range(several):
            yield _one(draw, pack, name, shape) | ({"side": side} if side else {})


def _one(draw: Random, pack: Pack, name: str, shape: FindingShape) -> Resource:
    if draw.random() < 0.2:
        return {"absent": draw.choice(REASONS), **_time(draw)}
    reading = _amount(draw, shape) if shape.number else {"value": _named(draw, pack, name, shape)}
    for qualifier, values in shape.qualifier.items():
        reading |= {qualifier: draw.choice(values)} if draw.random() < 0.5 else {}
    reading |= {"reported": True} if shape.reported and draw.random() < 0.3 else {}
    return reading | _time(draw)


def _named(draw: Random, pack: Pack, name: str, shape: FindingShape) -> str:
    return draw.choice([*(shape.values or ()), *pack.subjects.coarse(name)])


def _attempt(draw: Random, shape: FindingShape) -> Resource:
    assert shape.readings is not None
    if draw.random() < 0.2:
        return {"absent": draw.choice(REASONS), **_time(draw)}
    parts = [part for part in shape.readings.parts if draw.random() < 0.8] or shape.readings.parts[:1]
    return {"unit": "%", **{part: str(draw.randint(80, 100)) for part in parts}, **_time(draw)}


def _amount(draw: Random, shape: FindingShape) -> Resource:
    """A number in any accepted unit, at times known by a bound alone."""
    assert shape.number is not None
    unit = draw.choice([shape.number.unit, *shape.number.accepts])
    low, high = (convert(exact(end), shape.number.unit, unit) for end in shape.number.plausible)
    value = low + (high - low) * Fraction(draw.randint(20, 60), 100)
    text = str(round(Decimal(value.numerator) / value.denominator, draw.randint(0, 2) if high - low > 5 else 3))
    if draw.random() < 0.15:
        return {"value": {draw.choice(list(COMPARATORS)): text}, "unit": unit}
    return {"value": text, "unit": unit}


def _time(draw: Random) -> Resource:
    if draw.random() < 0.5:
        return {}
    moment = datetime.fromisoformat(BORN) + timedelta(minutes=draw.randint(0, 97 * 60))
    return {"time": moment.isoformat() if draw.random() < 0.8 else moment.date().isoformat()}


@lru_cache(maxsize=1)
def questionnaire(pack: Pack) -> Resource:
    """The exam of a pack, exported once for all responses to it."""
    return next(one for one in export(pack) if one["resourceType"] == "Questionnaire")


def response(pack: Pack, visit: Resource, status: str = "completed") -> Resource:
    """The same facts as a response, item by item along the exam as it is exported; every fact must find its place."""
    exam = questionnaire(pack)
    facts: dict[str, list[Resource]] = {"sex_at_birth": [_coded("sex_at_birth", visit["sex_at_birth"])]}
    for name, readings in visit["findings"].items():
        for reading in readings:
            _file(facts, name, pack.findings[name], reading)
    items = list(_answered(exam, facts))
    assert not facts, f"the exam has no place for {sorted(facts)}"
    return {
        "resourceType": "QuestionnaireResponse", "id": "r1", "questionnaire": f"{exam['url']}|{exam['version']}",
        "status": status, "subject": {"reference": "Patient/mara"}, "encounter": {"reference": "Encounter/1"},
        "authored": AT, "item": items,
    }  # fmt: skip


def _file(facts: dict[str, list[Resource]], name: str, shape: FindingShape, reading: Resource) -> None:
    """Put one reading under the linkId of its answer; an attempt in parts is a group of its own."""
    if shape.readings is not None:
        facts.setdefault(name, []).append(_group(name, shape, reading))
        return
    here = link(name, reading.get("side"))
    if "absent" in reading and shape.number:
        here = link(here, "absent")
    answer = _answer(name, reading, reading.get("value"))
    below = [{"linkId": link(here, key), "answer": [value]} for key, value in _beside(name, shape, reading)]
    facts.setdefault(here, []).append(answer | ({"item": below} if below else {}))


def _group(name: str, shape: FindingShape, reading: Resource) -> Resource:
    assert shape.readings is not None
    items = [
        {"linkId": link(name, part), "answer": [_answer(name, reading, reading[part])]}
        for part in shape.readings.parts
        if part in reading
    ]
    if "absent" in reading:
        items.append({"linkId": link(name, "absent"), "answer": [_answer(name, reading, None)]})
    items += [{"linkId": link(name, key), "answer": [value]} for key, value in _beside(name, shape, reading)]
    return {"linkId": name, "item": items}


def _answer(name: str, reading: Resource, value: Any) -> Resource:
    if "absent" in reading:
        return {"valueCoding": {"system": ABSENT_REASON, "code": reading["absent"]}}
    if "unit" not in reading:
        return _coded(name, value)
    bound = next(iter(value)) if isinstance(value, dict) else None
    amount = {"value": Decimal(value[bound] if bound else value)} | (
        {"comparator": COMPARATORS[bound]} if bound else {}
    )
    unit = reading["unit"]
    return {"valueQuantity": amount | {"unit": unit, "system": SYSTEMS["ucum"], "code": unit}}


def _coded(name: str, value: str) -> Resource:
    return {"valueCoding": {"system": FINDINGS, "code": f"{name}.{value}"}}


def _beside(name: str, shape: FindingShape, reading: Resource) -> Iterator[tuple[str, Resource]]:
    for qualifier in shape.qualifier:
        if qualifier in reading:
            yield qualifier, _coded(f"{name}.{qualifier}", reading[qualifier])
    if reading.get("reported"):
        yield "reported", {"valueBoolean": True}
    if "time" in reading:
        yield "time", {"valueDateTime": reading["time"]}


def _answered(asked: Resource, facts: dict[str, list[Resource]]) -> Iterator[Resource]:
    """Yield the items of a response below one item of the exam; a question without an answer stands there empty."""
    for item in asked.get("item", ()):
        found = facts.pop(item["linkId"], [])
        if item["type"] == "group" and item.get("repeats"):
            yield from found
        elif item["type"] == "group":
            assert not found
            yield {"linkId": item["linkId"], "item": list(_answered(item, facts))}
        elif item["type"] != "display":
            yield {"linkId": item["linkId"], "text": item["text"]} | ({"answer": found} if found else {})


def as_bundle(*resources: Resource, sex: str | None = None) -> Resource:
    """A collection of the newborn, the Encounter and these resources."""
    patient = PATIENT | ({"gender": sex} if sex else {})
    return {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"resource": one} for one in (patient, ENCOUNTER, *resources)],
    }


def as_observations(pack: Pack, visit: Resource) -> list[Resource]:
    """The same facts as Observations of this Encounter, under our own codes."""
    found = []
    for name, readings in visit["findings"].items():
        for reading in readings:
            found.append(_observed(name, pack.findings[name], reading) | {"id": f"o{len(found)}"})
    return found


def _observed(name: str, shape: FindingShape, reading: Resource) -> Resource:
    out: Resource = {
        "resourceType": "Observation", "status": "final", "code": _concept(name),
        "subject": {"reference": "Patient/mara"}, "encounter": {"reference": "Encounter/1"},
        "effectiveDateTime": reading.get("time", AT),
    }  # fmt: skip
    parts = [part for part in (shape.readings.parts if shape.readings else ()) if part in reading]
    out |= {} if parts else _value(name, reading, reading.get("value"))
    components = [{"code": _concept(f"{name}.{part}")} | _value(name, reading, reading[part]) for part in parts]
    for one in shape.qualifier:
        if one in reading:
            value = {"valueCodeableConcept": _concept(f"{name}.{one}.{reading[one]}")}
            components.append({"code": _concept(f"{name}.{one}")} | value)
    out |= {"component": components} if components else {}
    out |= {"bodySite": {"text": reading["side"]}} if "side" in reading else {}
    tag = {"system": f"{OWN_BASE}/CodeSystem/tags", "code": "reported"}
    return out | ({"meta": {"tag": [tag]}} if reading.get("reported") else {})


def _concept(code: str) -> Resource:
    return {"coding": [{"system": FINDINGS, "code": code}]}


def _value(name: str, reading: Resource, value: Any) -> Resource:
    """The value of an Observation, from the same answer that the response would give."""
    answer = _answer(name, reading, value)
    if "valueQuantity" in answer:
        return answer
    key = "dataAbsentReason" if "absent" in reading else "valueCodeableConcept"
    return {key: {"coding": [answer["valueCoding"]]}}


def exam(pack: Pack) -> str:
    """The canonical URL of the exam."""
    return exam_url(OWN_BASE, pack.id)
