"""When a question of the exam is shown (`enableWhen`): for whom its finding can apply, and what it comes up after.

FHIR knows no nesting of such conditions and no values of earlier visits, and compares amounts in one unit alone. So a
condition that the form cannot tell for certain is widened, and at the end left away: a question too many, never one too
few. It is about layout: what was not asked stays to be examined.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from layette.engine.pack.written.shape import AskAfter
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.pack.written.subjects import SEX
from layette.mapping.codes import OWN
from layette.mapping.export.publication import Publication, Resource
from layette.mapping.read.codes.exam_form import link
from layette.mapping.write.words import concepts

_BOUNDS = frozenset({"at_least", "more_than", "at_most", "below"})


def enabled(pub: Publication, shape: FindingShape) -> Resource:
    """Return `enableWhen` and `enableBehavior` of the questions of a finding; nothing for what is always shown.

    While the sex is not answered on the form, nothing that hangs on it is hidden: the record may know it.
    """
    after = shape.ask.after if isinstance(shape.ask, AskAfter) else None
    for written in (after, shape.applies_when):
        found = list(_any_of(pub, written)) if written else []
        if found and None not in found:
            conditions = list({repr(one): one for one in found if one}.values())
            return {"enableWhen": conditions, "enableBehavior": "any"}
    return {}


def _any_of(pub: Publication, written: Mapping[str, Any]) -> Iterator[Resource | None]:
    """Yield conditions of which one must hold; None for a part that a form cannot tell, which then may hold."""
    if len(written) != 1:
        yield None
        return
    [(key, value)] = written.items()
    if key == "any":
        for part in value if isinstance(value, list) else [value]:
            yield from _any_of(pub, part)
    else:
        yield from _of_one(pub, key, value)


def _of_one(pub: Publication, key: str, value: Any) -> Iterator[Resource | None]:
    name, _, view = key.partition(".")
    questions = _questions(pub, name, view)
    if not questions:
        yield None
    elif name == SEX:
        yield from (_answered(pub, SEX, SEX, word) for word in listed(value))
        yield {"question": SEX, "operator": "exists", "answerBoolean": False}
    elif isinstance(value, str | list):
        for question in questions:
            yield from (_answered(pub, question, name, word) for word in _may_be(pub, name, listed(value)))
    elif isinstance(value, Mapping) and (dict(value) == {"recorded": True} or value.keys() <= _BOUNDS):
        yield from ({"question": one, "operator": "exists", "answerBoolean": True} for one in questions)
    else:
        yield None


def _questions(pub: Publication, name: str, view: str) -> list[str]:
    """Return the linkIds of the questions that a view looks at; none where the form has no such question."""
    if name == SEX:
        return [] if view else [SEX]
    shape = pub.pack.findings.get(name)
    if shape is None or shape.readings is not None:
        return []
    if shape.sides is None:
        return [] if view else [name]
    wanted = shape.sides if view == "either" else [side for side in shape.sides if side == view]
    return [link(name, side) for side in wanted]


def _may_be(pub: Publication, name: str, wanted: list[str]) -> list[str]:
    """Return the values of which one is wanted, and the less exact ones that can stand for one of these."""
    coarse = pub.pack.subjects.coarse(name)
    return [*wanted, *(word for word, values in coarse.items() if word not in wanted and set(values) & set(wanted))]


def _answered(pub: Publication, question: str, name: str, value: str) -> Resource:
    coding = concepts.coding(pub.system(OWN["findings"]), f"{name}.{value}", value.replace("_", " "))
    return {"question": question, "operator": "=", "answerCoding": coding}
