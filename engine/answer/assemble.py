"""From the statuses of all rules to one `Assessment`.

The order of work: resolve the reasons for each target into one recommendation, leave out what already stands, and say
what is open, what was used and why.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, partial
from importlib.metadata import PackageNotFoundError, version

from layette.engine.answer.deadlines import grouped
from layette.engine.answer.detail import makers_of, trace_of
from layette.engine.answer.outstanding import outstanding
from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.words import age_text
from layette.engine.answer.report import (
    compared,
    conflicts,
    judgments,
    late_orders,
    measures,
    not_applying,
    reading_warnings,
    set_notices,
)
from layette.engine.answer.resolved.chase import overdue_orders
from layette.engine.answer.resolved.due import due_items, proposed_anyway, wanted, wanted_now
from layette.engine.answer.resolved.judge import to_judge
from layette.engine.answer.resolved.recommend import recommendations
from layette.engine.answer.resolved.resolve import gather
from layette.engine.answer.resolved.standing import sorted_out
from layette.engine.answer.resolved.worlds import weigh
from layette.engine.answer.shapes.part import known, later
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.answer.topics import apart, by_heading, owed
from layette.engine.answer.verdict import NotRead, verdict_of
from layette.engine.answer.visits import come_back
from layette.engine.logic.program import Reader
from layette.engine.terms import ASKED, Kind

_assessment = known(Assessment)


@cache
def engine_version() -> str:
    """Return the version of the installed engine; it is read from the disk once."""
    try:
        return version("layette")
    except PackageNotFoundError:
        return "unknown"


def assemble(context: Context, readers: Sequence[Reader]) -> Assessment:
    """Turn the statuses of all rules into what people and systems read; ``readers`` decide the added worlds."""
    pack, visit = context.pack, context.visit
    due = wanted(context)
    weighed = weigh(context, gather(context, wanted_now(due, context)), readers)
    acts, guides = apart(weighed.grounds, context)
    sorted_by_history = sorted_out(recommendations(acts, context), context, readers)
    made, standing = list(sorted_by_history.proposed), sorted_by_history.standing
    to_chase = [*sorted_by_history.to_chase]
    to_chase += overdue_orders([*made, *to_chase], context, readers)
    proposed = tuple(r for r in made if r.kind in ASKED)
    do, due_later = grouped(proposed, context), due_items(due, context)
    visits = come_back(proposed, due_later, context)
    still_open = cache(partial(outstanding, context))
    judged = tuple(to_judge(weighed.doubts, weighed.judged, context))
    return _assessment(
        caution=pack.shape.caution,
        pack=context.plan.used,
        engine=engine_version(),
        readers=context.readers,
        read="conditions read twice; measures and resolution once" if len(context.readers) > 1 else "read once",
        at=visit.at.text,
        born=visit.born.text,
        age=age_text(visit),
        patient=visit.patient,
        encounter=visit.encounter,
        to_judge=judged,
        verdict=verdict_of(
            do, judged, to_chase, visits, _unread(context), lambda: [step.label for step in still_open().steps]
        ),
        do=do,
        come_back=visits,
        tell_family=later(lambda: by_heading([*_of_kind("guide", made), *owed(guides, context)], context)),
        not_on_record=tuple(d for d in due_later if d.state != "later" and not proposed_anyway(d)),
        to_chase=tuple(to_chase),
        standing=tuple(r for r in standing if r.kind != "guide"),
        avoid=_of_kind("avoid", made),
        reassurance=_of_kind("reassure", made),
        measures=later(lambda: tuple(measures(context, pack.measures))),
        notices=(*set_notices(context), *pack.site.notices(), *judgments(context), *conflicts(made, context)),
        warnings=(*visit.warnings, *reading_warnings(context), *not_applying(context), *late_orders(context)),
        settings=context.plan.settings_used(context.choices),
        compared=later(lambda: tuple(compared(context))),
        contacts={**pack.site.contacts},
    ).explained_by(makers_of(context, still_open), partial(trace_of, context))


def _unread(context: Context) -> NotRead:
    """Name what came along and could not be read, of findings on which `stat` or `asap` may hang and of no finding."""
    told = [one for one in context.visit.unread if not one.finding or one.finding in context.plan.behind_pressing]
    return NotRead(
        [context.pack.findings[one.finding].label for one in told if one.finding],
        [one.said for one in told if not one.finding],
        any(one.of_mother for one in told),
    )


def _of_kind(kind: Kind, made: Sequence[Recommendation]) -> tuple[Recommendation, ...]:
    return tuple([one for one in made if one.kind == kind])
