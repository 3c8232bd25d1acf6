"""The rules as a PlanDefinition: one action a rule, its condition in words, its sources and how far each was verified.

R4 has no place for expressions in our own language: `textEquivalent` says a rule in words, `input` says what is asked,
and the Library holds what the engine runs. An action without a condition would apply to every baby, so each carries one
that never holds: whoever applies the plan proposes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from layette.engine.pack.written.rule_shapes import Consequence, RuleShape
from layette.engine.pack.written.shapes import SourceShape, listed
from layette.engine.pack.written.subjects import SEX
from layette.engine.terms import PRIORITIES, VERBS
from layette.mapping.codes import OWN
from layette.mapping.export.activities import activity_id
from layette.mapping.export.library import digest, library_id
from layette.mapping.export.publication import Publication, Resource, legal_id
from layette.mapping.words.rules import rule_words
from layette.mapping.words.times import timing, when
from layette.mapping.write.words import concepts

_TYPE = {
    "system": "http://terminology.hl7.org/CodeSystem/plan-definition-type",
    "code": "eca-rule",
    "display": "ECA Rule",
}
_CREATE = {"system": "http://terminology.hl7.org/CodeSystem/action-type", "code": "create", "display": "Create"}
_NEVER = {
    "kind": "applicability",
    "expression": {
        "description": "Never by this plan: the condition of the rule is in words here, and for machines in the "
        "Library, which the rule engine runs. Without it nothing may be proposed.",
        "language": "text/fhirpath",
        "expression": "false",
    },
}
"""The condition of every action, so that no engine takes a rule that it cannot read for one that applies."""
_SAID = {
    "refer": "refer", "order": "order", "recheck": "look again",
    "judge": "have a person judge before they leave, with a view to",
    "guide": "tell the family", "reassure": "reassure", "avoid": "do not order",
}  # fmt: skip
_STATUS = {
    "published": "published",
    "common-practice": "common practice",
    "from-memory": "from memory, not verified in print",
    "our-reading": "our reading",
}


def plan(pub: Publication) -> Resource:
    """Return the PlanDefinition of a pack; `instantiatesCanonical` of what goes out points at its actions."""
    about = "What a newborn is owed at the first office visits, as rules with reasons and sources."
    name = plan_id(pub)
    return pub.head("PlanDefinition", name, pub.pack.shape.title, about) | {
        "identifier": [digest(pub)],
        "type": {"coding": [_TYPE]},
        "usage": pub.standing,
        "effectivePeriod": {"start": pub.pack.shape.valid_from},
        "library": [pub.canonical("Library", library_id(pub))],
        "action": [_action(pub, rule.shape) for rule in pub.pack.rules.values()],
    }


def plan_id(pub: Publication) -> str:
    """Return the id of the PlanDefinition, which is that of the pack."""
    return legal_id(pub.pack.id)


def _action(pub: Publication, shape: RuleShape) -> Resource:
    proposed = [then for then in shape.then if not then.conclude]
    ranks = [PRIORITIES.index(then.priority or "routine") for then in proposed]
    action: Resource = {
        "id": shape.id,
        "title": shape.title,
        "description": shape.because,
        "textEquivalent": _in_full(pub, shape),
        "priority": PRIORITIES[min(ranks)] if ranks else None,
        "documentation": list(_documentation(pub, shape)),
        "condition": [_NEVER],
        "input": list(_inputs(pub, shape)),
        "output": [_conclusion(pub, then.conclude) for then in shape.then if then.conclude],
    }
    if len(proposed) == 1:
        action |= _proposal(pub, shape, proposed[0])
    elif proposed:
        action["selectionBehavior"] = "all"
        action["action"] = [_part(pub, shape, then, k) for k, then in enumerate(proposed, 1)]
    return {key: value for key, value in action.items() if value}


def _part(pub: Publication, shape: RuleShape, then: Consequence, number: int) -> Resource:
    _, target = _verb(then)
    head = {
        "id": f"{shape.id}.{number}",
        "title": pub.pack.targets[target].label,
        "textEquivalent": _consequence(pub, then),
        "priority": then.priority or "routine",
        "condition": [_NEVER],
    }
    return head | _proposal(pub, shape, then)


def _proposal(pub: Publication, shape: RuleShape, then: Consequence) -> Resource:
    _, target = _verb(then)
    if then.judge:
        return timing(then, shape.window)
    definition = pub.canonical("ActivityDefinition", activity_id(target))
    kind = {} if then.avoid else {"type": {"coding": [_CREATE]}}
    return {**timing(then, shape.window), **kind, "definitionCanonical": definition}


def _verb(then: Consequence) -> tuple[str, str]:
    """Return the verb of a proposal and its target."""
    return next((verb, str(getattr(then, verb))) for verb in VERBS if getattr(then, verb) is not None)


def _in_full(pub: Publication, shape: RuleShape) -> str:
    done = "; ".join(_consequence(pub, then) for then in shape.then)
    text = f"{rule_words(pub.pack, shape)} Then: {done}."
    replaced = [f"{pub.pack.rules[one].shape.title} ({one})" for one in shape.instead_of if one in pub.pack.rules]
    note = f" {shape.note}" if shape.note else ""
    return text + (f" This takes the place of: {'; '.join(replaced)}." if replaced else "") + note


def _consequence(pub: Publication, then: Consequence) -> str:
    if then.conclude:
        return f"conclude {then.conclude.replace('_', ' ')}"
    verb, target = _verb(then)
    soon = [f"priority {then.priority or 'routine'}", when(then), "if it still holds" if then.if_still else ""]
    steps = f": {', '.join(then.do)}" if then.do else ""
    return f"{_SAID[verb]} {pub.pack.targets[target].label} ({', '.join(filter(None, soon))}){steps}"


def _documentation(pub: Publication, shape: RuleShape) -> Iterator[Resource]:
    cited = [*listed(shape.source), *(name for then in shape.then for name in listed(then.source))]
    for name in dict.fromkeys(cited):
        source = pub.pack.sources[name]
        yield {"type": "citation", "label": name, "display": _standing(source), "citation": source.text}


def _standing(source: SourceShape) -> str:
    read = f"; {source.read}" if source.read else ""
    return f"{_STATUS[source.kind]}{read}"


def _inputs(pub: Publication, shape: RuleShape) -> Iterator[Resource]:
    """Yield what the rule asks about, each subject once; settings are choices of the site, not data."""
    names = [*_subjects(shape.applies_when), *listed(shape.due), *_subjects(shape.when), *_subjects(shape.unless)]
    for name in dict.fromkeys(names):
        if name == SEX:
            yield {"type": "Patient", "mustSupport": ["gender"]}
        elif name != "setting":
            yield {"type": "Observation", "codeFilter": [{"path": "code", "code": _codes(pub, name)}]}


def _subjects(written: Mapping[str, Any] | None) -> Iterator[str]:
    for key, value in (written or {}).items():
        if key in ("all", "any", "none"):
            for part in value:
                yield from _subjects(part)
        else:
            yield key.split(".")[0]


def _codes(pub: Publication, name: str) -> list[Resource]:
    pack = pub.pack
    shape = pack.findings.get(name) or pack.measures.get(name)
    label = shape.label if shape else name.replace("_", " ")
    theirs = concepts.published(shape.codes) if shape else []
    return _once([*theirs, concepts.coding(pub.system(OWN["findings"]), name, label)])


def _once(codings: Iterable[Resource]) -> list[Resource]:
    return list({(one["system"], one["code"]): one for one in codings}.values())


def _conclusion(pub: Publication, name: str | None) -> Resource:
    ours = concepts.coding(pub.system(OWN["findings"]), str(name), str(name).replace("_", " "))
    return {"type": "Observation", "codeFilter": [{"path": "code", "code": [ours]}]}
