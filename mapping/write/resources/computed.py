"""Measures and conclusions as Observations that say what they were derived from."""

from __future__ import annotations

from layette.engine.answer.parts.assessment import Concluded, Measured, Traced, Used
from layette.mapping.write.resources.evidence import DERIVABLE, Evidence, split
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource, effective
from layette.mapping.write.words import concepts
from layette.mapping.write.words.quantities import bounds
from layette.mapping.write.words.readings import decimal, moment


def write(out: Output, evidence: Evidence) -> None:
    """Write what is known; a measure without a value and an open conclusion stand among the outstanding items."""
    for measure in out.assessment.measures:
        value = _value(out, measure)
        if value:
            evidence.computed[measure.id] = _measure(out, evidence, measure, value)
    concluded = [conclusion for conclusion in out.assessment.conclusions if conclusion.state != "open"]
    # A conclusion may rest on another: all names are known before the first is written.
    for conclusion in concluded:
        evidence.computed[conclusion.id] = keys.urn(
            out.base, "Observation", f"{keys.INPUT_KEY}#{_key(out, conclusion)}"
        )
    for conclusion in concluded:
        _conclusion(out, evidence, conclusion)


def _value(out: Output, measure: Measured) -> Resource:
    if measure.category:
        words = measure.category.replace("_", " ")
        ours = concepts.coding(out.system(keys.FINDINGS), f"{measure.id}.{measure.category}", words)
        return {"valueCodeableConcept": concepts.concept([ours], words)}
    return bounds(decimal(measure.low), decimal(measure.high), measure.unit)


def _measure(out: Output, evidence: Evidence, measure: Measured, value: Resource) -> str:
    codes = concepts.verified(measure.codes)
    when = moment(measure.time, out.visit, out.at) if measure.time else (out.at, out.at)
    resource = _observation(out, measure.id, measure.label, codes) | effective(*when) | value
    source = f" Source: {measure.source.text}." if measure.source else ""
    words = f"{measure.text}. {measure.basis}".strip()
    resource["note"] = [{"text": f"{words}{source}"}]
    _derived(out, evidence, resource, measure.derived_from)
    value_key = (measure.low, measure.high, measure.category)
    key = keys.digest(subject.patient_key(out), "measure", measure.id, *when, *value_key)
    return out.identified(resource, keys.INPUT_KEY, key)


def _key(out: Output, one: Concluded) -> str:
    return keys.digest(subject.patient_key(out), "conclusion", one.id, out.at, one.state)


def _conclusion(out: Output, evidence: Evidence, one: Concluded) -> None:
    resource = (
        _observation(out, one.id, one.label, []) | effective(out.at, out.at) | {"valueBoolean": one.state == "yes"}
    )
    rules = [rule for rule in out.assessment.trace if rule.rule in one.rules]
    if rules:
        resource["note"] = [{"text": "Concluded by " + "; ".join(_said(rule) for rule in rules)}]
    _derived(out, evidence, resource, [used for rule in rules for used in rule.values])
    out.identified(resource, keys.INPUT_KEY, _key(out, one))


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


def _derived(out: Output, evidence: Evidence, resource: Resource, values: list[Used] | tuple[Used, ...]) -> None:
    """Point to what the value rests on; a birth date is the Patient's and cannot stand in `derivedFrom`."""
    yes, _ = split(out, evidence.references(out, values), DERIVABLE)
    if yes:
        resource["derivedFrom"] = yes
