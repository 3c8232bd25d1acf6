"""Tell the family: guidance owed, by heading. Most of an answer is that, and it is made when somebody looks at it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from layette.engine.answer.laid.proposals import Place
from layette.engine.answer.parts.assessment import Topics
from layette.engine.answer.parts.context import Context
from layette.engine.answer.resolved.grounds import Ground
from layette.engine.answer.resolved.recommend import recommendations
from layette.engine.answer.resolved.standing import is_satisfied
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.pack.family_texts import headings
from layette.engine.terms import SEEN_TODAY, Kind

GUIDANCE = "guidance/"
GUIDE: Kind = "guide"

Grounds = Mapping[Place, Sequence[Ground]]


_topics = known(Topics)


def apart(grounds: Grounds, context: Context) -> tuple[Grounds, Grounds]:
    """Return the reasons for acts, and those for guidance, which hang on nothing that stands with the acts.

    Where orders are on record, or guidance and an act exclude each other, all is weighed together: with the acts.
    """
    owing = [place for place in grounds if place[0] == GUIDE]
    if context.visit.orders or any(place[1] in context.plan.excluding for place in owing):
        return grounds, {}
    acts = {place: reasons for place, reasons in grounds.items() if place[0] != GUIDE}
    return acts, {place: grounds[place] for place in owing}


def owed(guides: Grounds, context: Context) -> Sequence[Recommendation]:
    """Return the guidance that was not given yet, the most pressing first."""
    return [one for one in recommendations(guides, context) if not is_satisfied(one, context)]


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
