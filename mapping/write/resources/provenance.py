"""Who made this and from what: a Device for the software, a Provenance for the run."""

from __future__ import annotations

from collections.abc import Mapping

from layette.mapping.write.resources.evidence import Evidence
from layette.mapping.write.run import keys, subject
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import concepts

_TYPES = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
_NOT_OURS = ("Device", "Provenance")


def device(out: Output) -> str:
    """Write the software as a Device, once a version, and return its reference."""
    version = out.assessment.engine
    resource: Resource = {
        "resourceType": "Device",
        "status": "active",
        "deviceName": [{"name": "Layette", "type": "user-friendly-name"}],
        "version": [{"value": version}],
    }
    return out.identified(resource, keys.DEVICE, f"layette-{version}")


def write(out: Output, evidence: Evidence) -> None:
    """Write the Provenance: it has no identifier in R4, so it is created once by its tag."""
    resource: Resource = {
        "resourceType": "Provenance",
        "meta": {},
        "target": [{"reference": name} for name in _targets(out)],
        "occurredDateTime": out.at,
        "recorded": out.at,
        "reason": [{"text": out.assessment.caution}],
        "activity": {"text": "assessment by clinical rules"},
        "agent": [_agent(out)],
        "entity": [*_inputs(out, evidence), _pack(out)],
    }
    out.tagged(resource, keys.RUNS, out.reply)


def _targets(out: Output) -> list[str]:
    """Return what this run wrote; input that goes along unchanged is not its work."""
    return [name for name, kind in out.made.items() if kind not in _NOT_OURS and out.sources.get(name) is None]


def _agent(out: Output) -> Resource:
    kind = concepts.concept([concepts.coding(_TYPES, "assembler", "Assembler")], "assembled by software")
    agent = {"type": kind, "who": {"reference": out.device, "display": f"Layette {out.assessment.engine}"}}
    behalf = _organization(out)
    return agent | ({"onBehalfOf": behalf} if behalf else {})


def _organization(out: Output) -> Resource:
    """Return the organization that the visit belongs to, as its Encounter names it; empty where it names none."""
    encounter = out.sources.get(out.assessment.encounter) if out.assessment.encounter else None
    given = (encounter or {}).get("serviceProvider")
    if not isinstance(given, Mapping):
        return {}
    link = subject.point(out, given["reference"]) if isinstance(given.get("reference"), str) else None
    return (link or {}) | {part: given[part] for part in ("identifier", "display") if part in given}


def _inputs(out: Output, evidence: Evidence) -> list[Resource]:
    """Return what was read: what a proposal rests on, or all of it; and the digest of the whole visit."""
    origins = [one.origin for one in out.readings if one.origin]
    found = [subject.point(out, origin) for origin in origins if out.whole or origin in evidence.cited]
    names = dict.fromkeys(link["reference"] for link in found if link is not None)
    digest = {"system": out.system(keys.INPUT_KEY), "value": out.given.digest()}
    visit = {"identifier": digest, "display": "the visit as it was read"}
    return [{"role": "source", "what": what} for what in ({"reference": name} for name in names)] + [
        {"role": "source", "what": visit}
    ]


def _pack(out: Output) -> Resource:
    pack = out.assessment.pack
    digest = {"system": out.system(keys.PACK_DIGEST), "value": pack.digest}
    return {"role": "source", "what": {"identifier": digest, "display": f"rule pack {pack.id} {pack.version}"}}
