"""A value that the rules cannot judge, as a request to somebody who can: read it, and record how it was judged.

It carries no note of ours, so that a note on the request that is done is the judgment of the person who did it
(`mapping/read/resources/judgments.py` reads it back).
"""

from __future__ import annotations

from layette.engine.answer.shapes.proposed import ToJudge
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.words import body, concepts, wording

JUDGE = "judge"


def what(out: Output, one: ToJudge) -> Resource:
    """Return what a request to judge asks for, and why."""
    ours = concepts.coding(out.system(keys.JUDGMENTS), JUDGE, "Judge this value")
    label = f"Judge: {one.label}" + (f", {one.side}" if one.side else "")
    told = [f"{used.label}: {used.value}" + (f", {used.time}" if used.time else "") for used in one.values]
    what: Resource = {
        "category": [concepts.category(out, JUDGE)],
        "code": concepts.concept([ours], label),
        "orderDetail": [{"text": wording.clean(text)} for text in (*told, one.settles)],
        "occurrencePeriod": {"start": out.at},
        "reasonCode": [{"text": wording.clean(one.why)}],
    }
    sites = body.sites(out, one.side, one.values)
    return what | ({"bodySite": sites} if sites else {})
