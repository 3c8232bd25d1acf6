"""Our own codes as CodeSystems: every code of ours that goes out stands in one of these."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from layette.engine.pack.written.shapes import FindingShape
from layette.engine.pack.written.subjects import SEX, SEXES
from layette.mapping.codes import OWN, body_parts
from layette.mapping.export.publication import Publication, Resource
from layette.mapping.write.run.context import PROPOSAL
from layette.mapping.write.run.keys import BODY_SITES, CATEGORIES, PERFORMERS, RUNS, SEALS
from layette.mapping.write.words.concepts import SIDES, slug

_TAGS = {
    "proposal": PROPOSAL,
    "computed": "Computed by rules, not observed",
    "reported": "Reported by the family, not seen by the examiner",
    "superseded": "Superseded by a later proposal, and touched by nobody",
}
_JUDGMENTS = {
    "judge": "Judge this value",
    "judgment": "How a value was judged",
}
_LISTS = {
    "observations": "The observations in this list are all there are",
    "orders": "The orders in this list are all there are",
    "guidance": "The guidance in this list is all that was given",
    "immunizations": "The immunizations in this list are all there are",
}
_OTHER_GROUPS = {"reassurance", "referral", "judge", "plan"}
"""Groups of what goes out that no target has."""
_ASKED = {
    "first": "Looked at in every visit",
    "record": "Read in the record",
    "family": "Told by the family",
    "seen": "A harmless variant, recorded only if seen",
    "after": "Comes up after other findings",
}
_KINDS = {
    "finding": "What is looked at, asked, measured or tested",
    "value": "An answer to a finding",
    "less-exact-value": "An answer that leaves several values of a finding open",
    "side": "A finding on one side of the body, or on both",
    "part": "A part of a reading, or a qualifier of it such as the route",
    "system-normal": "A whole system charted as normal",
    "measure": "What is computed from findings",
    "conclusion": "What rules conclude from findings",
}


def code_systems(pub: Publication) -> Iterator[Resource]:
    """Yield the CodeSystems of a pack."""
    yield _findings(pub)
    yield _flat(pub, OWN["targets"], "Targets", "What proposals are about.", _targets(pub))
    groups = sorted({shape.category or "" for shape in pub.pack.targets.values()} - {""} | _OTHER_GROUPS)
    about = "The groups of proposals."
    yield _flat(pub, CATEGORIES, "Request categories", about, {name: name.capitalize() for name in groups})
    yield _flat(pub, OWN["tags"], "Tags", "What the tags on resources mean.", _TAGS)
    yield _flat(pub, OWN["lists"], "Complete lists", "What a List declares to be complete.", _LISTS)
    yield _flat(pub, OWN["judgments"], "Judgments", "What is asked and told about values to judge.", _JUDGMENTS)
    yield _flat(pub, PERFORMERS, "Performers", "Who is to do what is proposed.", _performers(pub))
    yield _flat(pub, BODY_SITES, "Body sites", "A part of the body on one of its sides.", _body_sites())
    yield _digests(pub, RUNS, "Runs", "One code for each run, the digest of its answer")
    yield _digests(pub, SEALS, "Seals", "One code for each proposal, the digest of what a person could change of it")


def _head(pub: Publication, path: str, title: str, about: str, content: str = "complete") -> Resource:
    name = path.rsplit("/", 1)[-1]
    head = pub.head("CodeSystem", name, f"{pub.pack.id}: {title}", about)
    return head | {"caseSensitive": True, "content": content}


def _flat(pub: Publication, path: str, title: str, about: str, codes: dict[str, str]) -> Resource:
    concepts = [{"code": code, "display": display} for code, display in codes.items()]
    return _head(pub, path, title, about) | {"count": len(concepts)} | ({"concept": concepts} if concepts else {})


def _targets(pub: Publication) -> dict[str, str]:
    return {name: shape.label for name, shape in pub.pack.targets.items()}


def _performers(pub: Publication) -> dict[str, str]:
    names = {shape.performer for shape in pub.pack.targets.values() if shape.performer}
    return {slug(name): name for name in sorted(names)}


def _body_sites() -> dict[str, str]:
    parts = sorted(set(body_parts().values()))
    return {f"{side}-{part}": f"{side} {part}" for part in parts for side in SIDES}


def _digests(pub: Publication, path: str, title: str, about: str) -> Resource:
    return _head(pub, path, title, f"{about}; they are not listed, as each visit makes new ones.", "not-present")


def _findings(pub: Publication) -> Resource:
    about = (
        "The finding dictionary: findings with their values, sides and parts, measures and conclusions. "
        "A hyphen is read for each underscore."
    )
    concepts = list(_concepts(pub))
    properties = [
        {"code": "kind", "description": "; ".join(f"{k}: {v}" for k, v in _KINDS.items()), "type": "code"},
        {"code": "ask", "description": "; ".join(f"{k}: {v}" for k, v in _ASKED.items()), "type": "code"},
        {"code": "by-hand", "description": "It takes a hand or an instrument.", "type": "boolean"},
        {"code": "private", "description": "It is asked alone.", "type": "boolean"},
    ]
    return _head(pub, OWN["findings"], "Findings", about) | {
        "hierarchyMeaning": "grouped-by",
        "count": sum(1 + len(concept.get("concept", ())) for concept in concepts),
        "property": properties,
        "concept": concepts,
    }


def _concepts(pub: Publication) -> Iterator[Resource]:
    pack = pub.pack
    yield _concept(SEX, "Sex at birth", "finding", below=[_concept(f"{SEX}.{sex}", sex, "value") for sex in SEXES])
    for name, shape in pack.findings.items():
        concept = _concept(name, shape.label, "finding", shape.note, _unique(_parts(pub, name, shape)))
        concept["property"] += _asked(shape)
        yield concept
    for name, normal in pack.subjects.normals.items():
        below = [_concept(f"{name}.{word}", word, "value") for word in ("normal", "abnormal")]
        yield _concept(name, normal.label, "system-normal", None, below)
    for name, measure in pack.measures.items():
        bands = [_concept(f"{name}.{band}", _words(band), "value") for band in pack.subjects.categories(name)]
        yield _concept(name, measure.label, "measure", None, bands)
    for name in sorted(pack.subjects.conclusions - pack.measures.keys() - pack.findings.keys()):
        yield _concept(name, _words(name), "conclusion")


def _parts(pub: Publication, name: str, shape: FindingShape) -> Iterator[Resource]:
    for value in shape.values or ():
        yield _concept(f"{name}.{value}", _words(value), "value") | _designated(pub, name, value)
    for value, meant in pub.pack.subjects.coarse(name).items():
        either = " or ".join(map(_words, meant))
        meant_words = f"Not known more exactly: {either}."
        concept = _concept(f"{name}.{value}", _words(value), "less-exact-value", meant_words)
        yield concept | _designated(pub, name, value)
    for side in (*shape.sides, "both") if shape.sides else ():
        yield _concept(f"{name}.{side}", f"{shape.label}, {side}", "side")
    for part in shape.readings.parts if shape.readings else ():
        yield _concept(f"{name}.{part}", f"{shape.label}, {_words(part)}", "part")
    for qualifier, values in shape.qualifier.items():
        yield _concept(f"{name}.{qualifier}", f"{shape.label}, {_words(qualifier)}", "part")
        for value in values:
            yield _concept(f"{name}.{qualifier}.{value}", _words(value), "value")


def _asked(shape: FindingShape) -> list[Resource]:
    """Return how a finding is asked, as properties."""
    found: list[Resource] = []
    if shape.ask is not None:
        found.append({"code": "ask", "valueCode": shape.ask if isinstance(shape.ask, str) else "after"})
    found += [{"code": "by-hand", "valueBoolean": True}] if shape.by_hand else []
    return [*found, *([{"code": "private", "valueBoolean": True}] if shape.private else [])]


def _designated(pub: Publication, finding: str, value: str) -> Resource:
    """Return the labels of a value in both languages."""
    label = pub.pack.label_of_value(finding, value)
    if label is None:
        return {}
    return {"designation": [{"language": "en", "value": label.en}, {"language": "es", "value": label.es}]}


def _unique(concepts: Iterable[Resource]) -> list[Resource]:
    """Return each code once; a value that is called like a side is the value."""
    found: dict[str, Resource] = {}
    for one in concepts:
        found.setdefault(str(one["code"]), one)
    return list(found.values())


def _concept(
    code: str, display: str, kind: str, definition: str | None = None, below: list[Resource] | None = None
) -> Resource:
    concept: dict[str, Any] = {"code": code, "display": display}
    if definition:
        concept["definition"] = definition
    concept["property"] = [{"code": "kind", "valueCode": kind}]
    return concept | ({"concept": below} if below else {})


def _words(name: str) -> str:
    return name.replace("_", " ")
