"""Measures and conclusions as Observations that say what they were derived from.

Each is named before the first proposal is written, so that a proposal can point to it; written are those that something
points to, or all of them where all was asked for. A conclusion that does not hold is never written.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import Protocol

from layette.engine.answer.parts.assessment import Measured
from layette.engine.answer.shapes.detail import Concluded, Traced
from layette.engine.answer.shapes.proposed import Used
from layette.mapping.write.resources.evidence import DERIVABLE, Evidence, split
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, effective
from layette.mapping.write.run.readings import decimal, moment
from layette.mapping.write.words import concepts
from layette.mapping.write.words.quantities import bounds


class Make(Protocol):
    """Makes the Observation of one computed value."""

    def __call__(self) -> None:
        """Write it, and cite what it rests on."""


def plan(out: Output, evidence: Evidence) -> dict[str, Make]:
    """Name what may be written, and return how each is made, by reference."""
    to_make: dict[str, Make] = {}
    for value, make in (*_measures(out, evidence), *_conclusions(out, evidence)):
        name = _name(out, value)
        evidence.computed[value] = name
        out.planned[name] = "Observation"
        to_make[name] = make
    return to_make


def _name(out: Output, value: str) -> str:
    return keys.urn(out.base, "Observation", keys.digest(out.patient_key, "computed", value))


def write(out: Output, evidence: Evidence, to_make: dict[str, Make]) -> None:
    """Write what is cited, and what that rests on in its turn; everything where all was asked for."""
    left = dict(to_make)
    while wanted := [name for name in left if out.whole or name in evidence.cited]:
        for name in wanted:
            left.pop(name)()
    for name in left:
        del out.planned[name]


def _measures(out: Output, evidence: Evidence) -> Iterator[tuple[str, Make]]:
    """Yield what has a value; in `care`, not what follows from the birth alone, such as the age."""
    for measure in out.assessment.measures:
        value = _value(out, measure)
        if value and (measure.derived_from or out.whole):
            yield measure.id, partial(_measure, out, evidence, measure, value)


def _value(out: Output, measure: Measured) -> Resource:
    if measure.category:
        words = measure.category.replace("_", " ")
        ours = concepts.coding(out.system(keys.FINDINGS), f"{measure.id}.{measure.category}", words)
        return {"valueCodeableConcept": concepts.concept([ours], words)}
    return bounds(decimal(measure.low), decimal(measure.high), measure.unit)


def _measure(out: Output, evidence: Evidence, measure: Measured, value: Resource) -> None:
    codes = concepts.verified(measure.codes)
    when = moment(measure.time, out.visit, out.at) if measure.time else (out.at, out.at)
    resource = _observation(out, measure.id, measure.label, codes) | effective(*when) | value
    source = f" Source: {measure.source.text}." if measure.source else ""
    words = f"{measure.text}. {measure.basis}".strip()
    resource["note"] = [{"text": f"{words}{source}"}]
    _derived(out, evidence, resource, measure.derived_from)
    # The key is that of the readings, not of this moment: asked again, the same value is the same Observation.
    times = [used.time for used in measure.derived_from] or [out.at]
    value_key = (measure.low, measure.high, measure.category)
    key = keys.digest(out.patient_key, "measure", measure.id, measure.time, times, *value_key)
    out.identified(resource, keys.INPUT_KEY, key, _name(out, measure.id))


def _conclusions(out: Output, evidence: Evidence) -> Iterator[tuple[str, Make]]:
    for one in out.assessment.conclusions:
        if one.state == "yes":
            yield one.id, partial(_conclusion, out, evidence, one)


def _conclusion(out: Output, evidence: Evidence, one: Concluded) -> None:
    resource = _observation(out, one.id, one.label, []) | effective(out.at, out.at) | {"valueBoolean": True}
    rules = out.assessment.trace_of(one.rules)
    if rules:
        resource["note"] = [{"text": "Concluded by " + "; ".join(map(_said, rules))}]
    values = [used for rule in rules for used in rule.values]
    _derived(out, evidence, resource, values)
    timed = [(used.subject, used.value, used.time) for used in values if used.time]
    key = keys.digest(out.patient_key, "conclusion", one.id, timed or out.at)
    out.identified(resource, keys.INPUT_KEY, key, _name(out, one.id))


def _said(rule: Traced) -> str:
    return f"{rule.title} (rule {rule.rule}, {rule.status})"


def _observation(out: Output, name: str, label: str, codes: list[Resource]) -> Resource:
    ours = concepts.coding(out.system(keys.FINDINGS), name, label)
    return {
        "resourceType": "Observation",
        "meta": concepts.computed(out),
        "status": "final",
        "code": concepts.concept([*codes, ours], label),
        **subject.about(out),
    }


def _derived(out: Output, evidence: Evidence, resource: Resource, values: Sequence[Used]) -> None:
    """Point to what the value rests on, and label it as that is; a birth date cannot stand in `derivedFrom`."""
    yes, _ = split(out, evidence.references(out, values), DERIVABLE)
    if yes:
        resource["derivedFrom"] = yes
    shapes = (out.pack.findings.get(used.subject.split(".")[0]) for used in values)
    if any(shape is not None and shape.subject == "mother" for shape in shapes):
        concepts.label_mother(resource)
