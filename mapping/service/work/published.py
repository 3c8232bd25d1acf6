"""What the server is and publishes, as FHIR: its CapabilityStatement, and the resources of the pack."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from layette.engine import __version__
from layette.engine.api import Pack
from layette.mapping.codes import OWN_BASE
from layette.mapping.export import Publication, export
from layette.mapping.service.reply import Refusal, Reply, fhir
from layette.mapping.service.work.job import Job

Resource = dict[str, Any]

_VALIDATE = "http://hl7.org/fhir/OperationDefinition/Resource-validate"
_ASSESS = "assess"
_CHOICES = (
    ("at", "dateTime", "The moment of the visit, with offset; else it is the input's."),
    ("subject", "string", "The newborn, where the input holds more than one."),
    ("encounter", "string", "The visit's Encounter; else it is the newborn's latest."),
    ("parts", "code", "care is what a person acts on, inbox adds a Task, all is everything there is."),
    ("language", "code", "The language of the words for the family."),
)


def read_one(pack: Pack, job: Job) -> Reply:
    """Return the resource of a ``kind`` and an ``id``. Raises `Refusal` where there is none."""
    found = _published(pack).get((job.chosen["kind"], job.chosen["id"]))
    if found is None:
        raise Refusal("not-found", "this pack publishes no such resource", expected="one that GET /fhir/TYPE lists")
    return fhir(found, job.form)


def search(pack: Pack, job: Job) -> Reply:
    """Return all resources of a ``kind`` as a searchset; ``url`` and ``_id`` ask for one. Raises `Refusal`."""
    kind, base = job.chosen["kind"], job.chosen["base"]
    of_kind = [one for (its, _), one in _published(pack).items() if its == kind]
    if not of_kind:
        raise Refusal("not-found", "this pack publishes no resources of that type")
    asked = {name.lstrip("_"): job.chosen[name] for name in ("url", "_id") if name in job.chosen}
    found = [one for one in of_kind if all(one[name] == value for name, value in asked.items())]
    entries = [{"fullUrl": f"{base}/{kind}/{one['id']}", "resource": one, "search": {"mode": "match"}} for one in found]
    bundle: Resource = {"resourceType": "Bundle", "type": "searchset", "total": len(found)}
    return fhir(bundle | ({"entry": entries} if entries else {}), job.form)


def capabilities(pack: Pack, job: Job) -> Reply:
    """Return what the server at ``base`` can do."""
    return fhir(statement(pack, job.chosen["base"]), job.form)


def statement(pack: Pack, base: str) -> Resource:
    """Return the CapabilityStatement of a server at ``base``."""
    kinds = sorted({kind for kind, _ in _published(pack)})
    rest = {
        "mode": "server",
        "documentation": "Nothing that is sent is kept. There is no sign-in: the server is for this machine.",
        "resource": [_of_kind(kind) for kind in kinds],
        "operation": [
            {"name": _ASSESS, "definition": _publication(pack).url("OperationDefinition", _ASSESS)},
            {"name": "validate", "definition": _VALIDATE},
        ],
    }
    return {
        "resourceType": "CapabilityStatement",
        "status": "active",
        "date": pack.shape.valid_from,
        "kind": "instance",
        "software": {"name": "Layette", "version": __version__},
        "implementation": {"description": f"{pack.shape.title}, {pack.version}", "url": base},
        "fhirVersion": "4.0.1",
        "format": ["application/fhir+json", "application/fhir+xml"],
        "rest": [rest],
    }


def _of_kind(kind: str) -> Resource:
    return {
        "type": kind,
        "interaction": [{"code": "read"}, {"code": "search-type"}],
        "searchParam": [
            {"name": "_id", "definition": "http://hl7.org/fhir/SearchParameter/Resource-id", "type": "token"},
            {"name": "url", "type": "uri"},
        ],
    }


def _publication(pack: Pack) -> Publication:
    return Publication(pack, (pack.site.canonical or OWN_BASE).rstrip("/"))


@lru_cache(maxsize=1)
def _published(pack: Pack) -> dict[tuple[str, str], Resource]:
    pub = _publication(pack)
    resources = [*export(pack, pub.base), operation(pub)]
    return {(one["resourceType"], one["id"]): one for one in resources}


def operation(pub: Publication) -> Resource:
    """Return the definition of `$assess`."""
    about = "A visit in, what is proposed for this newborn out, as a transaction for a server to take or leave."
    single = {"min": 0, "max": "1"}
    head = pub.head("OperationDefinition", _ASSESS, "Assess a visit", about)
    del head["copyright"]  # the one canonical resource of R4 that has no place for it
    return head | {
        "kind": "operation",
        "affectsState": False,
        "code": _ASSESS,
        "system": True,
        "type": False,
        "instance": False,
        "parameter": [
            {"name": "bundle", "use": "in", "min": 1, "max": "1", "documentation": "The visit.", "type": "Bundle"},
            *({"name": n, "use": "in", **single, "documentation": about, "type": t} for n, t, about in _CHOICES),
            {"name": "return", "use": "out", "min": 1, "max": "1", "documentation": "The answer.", "type": "Bundle"},
        ],
    }
