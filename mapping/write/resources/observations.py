"""Findings that no server knows yet, as Observations."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from layette.engine.pack.written.shapes import FindingShape
from layette.mapping.codes import FAMILYS_WORDS
from layette.mapping.pack_view import systems
from layette.mapping.write.resources.evidence import Evidence
from layette.mapping.write.resources.mother import about_mother
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, effective
from layette.mapping.write.run.readings import GivenReading
from layette.mapping.write.words import concepts, wording
from layette.mapping.write.words.quantities import converted, measured

_ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
_PROFILES = "http://hl7.org/fhir/StructureDefinition/"
_LENGTHS = ("cm", "[in_i]")

VITAL_SIGNS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "29463-7": ("bodyweight", ("g", "kg", "[lb_av]")),
    "8302-2": ("bodyheight", _LENGTHS),
    "9843-4": ("headcircum", _LENGTHS),
    "8310-5": ("bodytemp", ("Cel", "[degF]")),
    "8867-4": ("heartrate", ("/min",)),
    "9279-1": ("resprate", ("/min",)),
    "2708-6": ("oxygensat", ("%",)),
}
"""The R4 vital-sign profiles by the LOINC code that each fixes, with the units that it allows."""


def write(out: Output) -> Evidence:
    """Write an Observation for each reading without a resource of its own; return where every reading stands."""
    evidence = Evidence()
    charted: Mapping[str, FindingShape] | None = None
    for reading in out.readings:
        known = subject.point(out, reading.origin) if reading.origin else None
        shape = out.pack.findings.get(reading.finding)
        if shape is None:  # seldom: what was charted goes out as the findings that it stands for
            charted = systems(out.pack) if charted is None else charted
            shape = charted.get(reading.finding)
        if known:
            evidence.add(reading, known["reference"])
        elif shape is not None:
            evidence.add(reading, _create(out, reading, shape))
    return evidence


def _create(out: Output, reading: GivenReading, shape: FindingShape) -> str:
    resource = _observation(out, reading, shape)
    if shape.subject == "mother":
        about_mother(out, resource)
    key = keys.digest(
        out.patient_key, reading.finding, reading.side, reading.start, reading.end, reading.value,
        reading.unit, reading.status, reading.absent, dict(reading.further) | _beside(reading),
    )  # fmt: skip
    return out.identified(resource, keys.INPUT_KEY, key)


def _observation(out: Output, reading: GivenReading, shape: FindingShape) -> Resource:
    by_side = next((codes for side, codes in shape.side_codes.items() if side == reading.side), {})
    codes = [*concepts.published(by_side), *concepts.published(shape.codes)]
    reading = _in_a_unit_of_the_profile(reading, codes, shape)
    value = _value(out, reading, shape)
    resource: Resource = {"resourceType": "Observation"} | _meta(out, reading, codes, value)
    resource |= {"status": reading.status} | _category(codes, shape, value)
    ours = concepts.coding(out.system(keys.FINDINGS), reading.finding, shape.label)
    resource["code"] = concepts.concept([*codes, ours], shape.label)
    # What an earlier visit found was not found at this one's Encounter.
    resource |= subject.about(out, encounter=not reading.earlier) | effective(reading.start, reading.end) | value
    if reading.side:
        resource["bodySite"] = concepts.side(reading.side)
    notes = [{"text": f"Given as {reading.printed}."}] if reading.printed else []
    notes += (
        [{"authorString": FAMILYS_WORDS, "text": text}] if (text := wording.clean((reading.text or "").strip())) else []
    )
    if notes:
        resource["note"] = notes
    components = [_component(out, reading, shape, name, value) for name, value in reading.further.items()]
    return resource | ({"component": components} if components else {})


def _meta(out: Output, reading: GivenReading, codes: list[Resource], value: Resource) -> Resource:
    meta: Resource = {}
    profile = _profile(reading, codes, value)
    if profile:
        meta["profile"] = [_PROFILES + profile]
    tags = (
        [concepts.tag(out, "reported", "Reported by the family, not seen by the examiner")] if reading.reported else []
    )
    if reading.charted_by in out.pack.normals:
        label = out.pack.normals[str(reading.charted_by)].label
        tags.append(concepts.coding(out.system(keys.FINDINGS), str(reading.charted_by), label))
    if tags:
        meta["tag"] = tags
    return {"meta": meta} if meta else {}


def _beside(reading: GivenReading) -> dict[str, str]:
    """Return the system whose "normal" filled a reading, and what somebody said, where there is any."""
    said = {"charted_by": reading.charted_by, "text": reading.text}
    return {name: value for name, value in said.items() if value}


def _profile(reading: GivenReading, codes: list[Resource], value: Resource) -> str | None:
    """Return the vital-sign profile that this Observation meets, and only then claims."""
    exact = "effectiveDateTime" in effective(reading.start, reading.end)
    if not exact or "valueQuantity" not in value or "comparator" in value["valueQuantity"]:
        return None
    profile, units = _vital_sign(codes)
    return profile if value["valueQuantity"].get("code") in units else None


def _vital_sign(codes: list[Resource]) -> tuple[str, tuple[str, ...]]:
    """Return the vital-sign profile of a code, with its units; an empty name where there is none."""
    return next((VITAL_SIGNS[one["code"]] for one in codes if one["code"] in VITAL_SIGNS), ("", ()))


def _in_a_unit_of_the_profile(reading: GivenReading, codes: list[Resource], shape: FindingShape) -> GivenReading:
    """Return a vital sign in the dictionary's unit where its own is not one of the profile; the note keeps its own."""
    _, units = _vital_sign(codes)
    if not units or shape.number is None or reading.value is None or (reading.unit or shape.number.unit) in units:
        return reading
    unit = str(reading.unit)
    to, substance = shape.number.unit, shape.number.substance
    value = converted(reading.value, unit, to, substance) if to in units else None
    if value is None:
        return reading
    return reading._replace(value=value, unit=to, printed=reading.printed or _printed(reading.value, unit))


def _printed(value: Any, unit: str) -> str:
    if not isinstance(value, Mapping):
        return f"{value} {unit}"
    bounds = (f"{name.replace('_', ' ')} {_listed(bound)}" for name, bound in value.items())
    return f"{', '.join(bounds)} {unit}"


def _listed(bound: Any) -> str:
    return " and ".join(map(str, bound)) if isinstance(bound, (list, tuple)) else str(bound)


def _category(codes: list[Resource], shape: FindingShape, value: Resource) -> Resource:
    _, units = _vital_sign(codes)
    # The category binds the profile: what the profile cannot hold (a range, another unit) keeps its code alone.
    if units and ("dataAbsentReason" in value or value.get("valueQuantity", {}).get("code") in units):
        return _group("vital-signs", "Vital Signs")
    if shape.carries_over or shape.awaited or shape.subject == "mother":
        return {}
    return _group("exam", "Exam")


def _group(code: str, display: str) -> Resource:
    return {"category": [concepts.concept([concepts.coding(_CATEGORY, code, display)], display)]}


def absent(reason: str) -> Resource:
    """Return why there is no value, in FHIR's words."""
    return {"dataAbsentReason": concepts.concept([concepts.coding(_ABSENT, reason)], reason.replace("-", " "))}


def _value(out: Output, reading: GivenReading, shape: FindingShape) -> Resource:
    if reading.absent:
        return absent(reading.absent)
    if reading.value is None:
        return {}
    if shape.number:
        found = measured(reading.value, reading.unit or shape.number.unit)
        return found or {"valueString": str(reading.value)}
    return {"valueCodeableConcept": _word(out, reading.finding, str(reading.value), shape)}


def _word(out: Output, finding: str, value: str, shape: FindingShape) -> Resource:
    words = value.replace("_", " ")
    ours = concepts.coding(out.system(keys.FINDINGS), f"{finding}.{value}", words)
    return concepts.concept([*concepts.published(shape.means.get(value, {})), ours], words)


def _component(out: Output, reading: GivenReading, shape: FindingShape, name: str, value: Any) -> Resource:
    ours = concepts.coding(out.system(keys.FINDINGS), f"{reading.finding}.{name}")
    code = concepts.concept([*concepts.published(shape.part_codes.get(name, {})), ours], name.replace("_", " "))
    if isinstance(value, Mapping) and value.get("absent"):
        return {"code": code} | absent(str(value["absent"]))
    if shape.readings is not None and name in shape.readings.parts:
        found = measured(value, reading.unit or (shape.number.unit if shape.number else None))
        return {"code": code} | (found or {"valueString": str(value)})
    return {"code": code, "valueCodeableConcept": _word(out, f"{reading.finding}.{name}", str(value), shape)}
