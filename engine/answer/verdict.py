"""The verdict in one sentence: what must happen now, how much by tomorrow, what was not judged, when to come back."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from layette.engine.answer.parts.assessment import ComeBack, DoGroup, Verdict
from layette.engine.answer.parts.judged_at_once import by_value
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Recommendation, ToJudge
from layette.engine.terms import Deadline

BY_TOMORROW: tuple[Deadline, ...] = ("before they leave", "within 24 hours")
MOST_NAMED = 3


_verdict = known(Verdict)


def verdict_of(
    do: Sequence[DoGroup],
    to_judge: Sequence[ToJudge],
    to_chase: Sequence[Recommendation],
    visits: Sequence[ComeBack],
    unread: Sequence[str],
    unseen: Callable[[], Sequence[str]],
) -> Verdict:
    """Return the verdict of one visit.

    ``unread`` names what a value came along for that could not be read and on which something pressing may hang;
    ``unseen`` the steps that are not wholly done, where it counts.
    """
    now = [one for group in do if group.deadline == "now" for one in group.items]
    by_tomorrow = sum(len(group.items) for group in do if group.deadline in BY_TOMORROW)
    judged = len(by_value(to_judge))
    parts = [*_now(now, to_chase)]
    if judged:
        parts.append(f"{_count(judged, 'value is', 'values are')} to be judged before they leave")
    if unread:
        parts.append(
            f"{_count(len(unread), 'value', 'values')} could not be read, look before they leave: {'; '.join(unread)}"
        )
    if by_tomorrow:
        parts.append(f"{_count(by_tomorrow, 'thing', 'things')} to do by this time tomorrow")
    pressing = bool(parts)
    if not pressing:
        parts.append(_nothing(unseen()))
    return _verdict(
        text=". ".join(parts) + ".",
        pressing=pressing,
        now=len(now) + len(to_chase),
        by_tomorrow=by_tomorrow,
        to_judge=judged,
        unread=len(unread),
        next_visit=visits[0] if visits else None,
    )


def _now(now: Sequence[Recommendation], to_chase: Sequence[Recommendation]) -> list[str]:
    told = []
    if now:
        told.append(f"Now: {_named(now)}")
    if to_chase:
        told.append(f"Overdue, chase now: {_named(to_chase)}")
    return told


def _named(made: Sequence[Recommendation]) -> str:
    names = list(dict.fromkeys(one.label + (f", {one.side}" if one.side else "") for one in made))
    more = len(names) - MOST_NAMED
    return "; ".join(names[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _nothing(open_steps: Sequence[str]) -> str:
    """Never "all is well": of what nobody looked at nothing is known."""
    if not open_steps:
        return "Nothing pressing in what was recorded; everything on the list was looked at"
    unseen = [label[:1].lower() + label[1:] for label in open_steps]
    more = len(unseen) - MOST_NAMED
    named = "; ".join(unseen[:MOST_NAMED]) + (f"; and {_count(more, 'more step', 'more steps')}" if more > 0 else "")
    return f"Nothing pressing in what was recorded. Not looked at, or not wholly: {named}"


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
