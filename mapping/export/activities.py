"""Each target as an ActivityDefinition: what a proposal would ask for, whatever rule leads to it."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.terms import PRIORITIES, Priority
from layette.mapping.codes import OWN
from layette.mapping.export.library import library_id
from layette.mapping.export.publication import Publication, Resource, legal_id, plain_words
from layette.mapping.write.run.keys import CATEGORIES, PERFORMERS
from layette.mapping.write.words import concepts

_ADVICE = ("guide", "reassure")
_CATEGORY = {"refer": "referral", "recheck": "evaluation", "guide": "education", "reassure": "reassurance"}


def activities(pub: Publication) -> Iterator[Resource]:
    """Yield an ActivityDefinition for each target."""
    highest = _highest(pub)
    for name, shape in pub.pack.targets.items():
        yield _activity(pub, name, shape, highest.get(name, "routine"))


def activity_id(target: str) -> str:
    """Return the id of a target's ActivityDefinition."""
    return legal_id(target)


def _highest(pub: Publication) -> dict[str, Priority]:
    """Return for each target the highest priority with which a rule asks for it."""
    found: dict[str, Priority] = {}
    for (verb, target), leads in pub.pack.plan.leads_to.items():
        if verb == "judge":
            continue
        rank = min(rank for _, _, rank in leads)
        known = found.get(target, "routine")
        found[target] = PRIORITIES[min(rank, PRIORITIES.index(known))]
    return found


def _activity(pub: Publication, name: str, shape: TargetShape, priority: Priority) -> Resource:
    group = shape.category or _CATEGORY.get(shape.kind)
    resource = pub.head("ActivityDefinition", activity_id(name), shape.label, _about(pub, shape)) | {
        "topic": [_group(pub, group)] if group else [],
        "effectivePeriod": {"start": pub.pack.shape.valid_from},
        "library": [pub.canonical("Library", library_id(pub))],
        "kind": "CommunicationRequest" if shape.kind in _ADVICE else "ServiceRequest",
        "code": _code(pub, name, shape),
        "intent": "proposal",
        "priority": priority,
        "doNotPerform": shape.kind == "avoid",
        "participant": _participant(pub, shape),
    }
    return {key: value for key, value in resource.items() if value or key == "experimental"}


def _about(pub: Publication, shape: TargetShape) -> str:
    told = plain_words(shape.plain, pub.pack)
    whom = " It concerns the mother." if shape.subject == "mother" else ""
    words = f" In words for the family: {told}" if told else ""
    return f"{shape.label}.{whom}{words}"


def _code(pub: Publication, name: str, shape: TargetShape) -> Resource:
    ours = concepts.coding(pub.system(OWN["targets"]), name, shape.label)
    return concepts.concept([*concepts.published(shape.codes), ours], shape.label)


def _group(pub: Publication, name: str) -> Resource:
    theirs = [concepts.coding("snomed", *concepts.CATEGORIES[name])] if name in concepts.CATEGORIES else []
    return concepts.concept([*theirs, concepts.coding(pub.system(CATEGORIES), name)], name)


def _participant(pub: Publication, shape: TargetShape) -> list[Resource]:
    if not shape.performer:
        return []
    ours = concepts.coding(pub.system(PERFORMERS), concepts.slug(shape.performer), shape.performer)
    return [{"type": "practitioner", "role": concepts.concept([ours], shape.performer)}]
