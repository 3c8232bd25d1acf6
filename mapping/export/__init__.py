"""A rule pack as FHIR R4: its rules, targets, files, codes, maps, and the exam as a Questionnaire."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from layette.engine.api import Pack
from layette.mapping.codes import OWN_BASE
from layette.mapping.export.activities import activities
from layette.mapping.export.code_systems import code_systems
from layette.mapping.export.concept_maps import concept_maps
from layette.mapping.export.extensions import payload_topic
from layette.mapping.export.library import library
from layette.mapping.export.plan import plan
from layette.mapping.export.publication import Publication, Resource, legal_id
from layette.mapping.export.questionnaire import questionnaire
from layette.mapping.export.value_sets import value_sets
from layette.mapping.words.rules import condition, rule_words

__all__ = ["Publication", "condition", "export", "file_name", "rule_words", "to_collection"]


def export(pack: Pack, base: str = OWN_BASE) -> list[Resource]:
    """Return every resource that publishes a pack, in a fixed order: plain dicts, the same for the same pack.

    ``base`` is the canonical base of our own systems and resources, the same as for `mapping.write.to_bundle`.
    """
    return list(_resources(Publication(pack, base.rstrip("/"))))


def _resources(pub: Publication) -> Iterator[Resource]:
    yield plan(pub)
    yield library(pub)
    yield questionnaire(pub)
    yield payload_topic(pub)
    yield from code_systems(pub)
    yield from concept_maps(pub)
    yield from activities(pub)
    yield from value_sets(pub)


def to_collection(pack: Pack, resources: Iterable[Resource]) -> Resource:
    """Return the resources of a pack as one Bundle of type collection."""
    entries = [{"fullUrl": resource["url"], "resource": resource} for resource in resources]
    return {
        "resourceType": "Bundle",
        "id": legal_id(f"{pack.id}-pack"),
        "type": "collection",
        "entry": entries,
    }


def file_name(resource: Resource, ending: str = "json") -> str:
    """Return the name of the file that holds a resource."""
    return f"{resource['resourceType']}-{resource['id']}.{ending}"
