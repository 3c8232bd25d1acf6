"""Tell the family: guidance owed, by heading."""

from __future__ import annotations

from collections.abc import Sequence

from layette.engine.answer.parts.assessment import Topics
from layette.engine.answer.parts.context import Context
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.pack.family_texts import headings
from layette.engine.terms import SEEN_TODAY

GUIDANCE = "guidance/"


_topics = known(Topics)


def by_heading(made: Sequence[Recommendation], context: Context) -> tuple[Topics, ...]:
    """Return guidance by the file of the pack in which it is owed, in the order of the pack."""
    order = headings(context.pack.shape.guidance)
    by_name: dict[str, list[Recommendation]] = {}
    for one in made:
        by_name.setdefault(_heading(one, context), []).append(one)
    return tuple(_topics(heading=name, topics=tuple(by_name[name])) for name in order if name in by_name)


def _heading(made: Recommendation, context: Context) -> str:
    groups = [context.pack.rules[reason.rule].group for reason in made.reasons]
    owed = [group for group in groups if group.startswith(GUIDANCE)]
    return owed[0].removeprefix(GUIDANCE).removesuffix(".yaml").replace("-", " ") if owed else SEEN_TODAY
