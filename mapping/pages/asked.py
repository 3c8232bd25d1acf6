"""What is asked for on a page, by deadline: the lines of *now*, *to chase*, *to judge* and of each later deadline."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.parts.judged_at_once import by_value
from layette.engine.answer.shapes.proposed import Citation, Recommendation
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import asked, listed, named
from layette.mapping.text.reasons import brief, marks, reserve
from layette.mapping.text.values import found

_STATES = {"active": "ordered", "revoked": "declined", "completed": "done", "draft": "proposed"}


@dataclass(frozen=True)
class Line:
    """One thing to do: what, by when, why, and whose rule it is. ``mark`` says how far its source was verified."""

    number: int
    what: str
    when: str
    why: str
    reserve: str
    mark: str
    do: tuple[str, ...]
    rule: str
    sources: tuple[Citation, ...]


@dataclass(frozen=True)
class Group:
    """Lines of one deadline; ``pressing``: what must not wait."""

    heading: str
    by: str
    pressing: bool
    lines: tuple[Line, ...]


def groups(assessment: Assessment, clock: Clock) -> list[Group]:
    """Return all that is asked for, the most pressing first; a far-off recheck stands under coming back alone."""
    numbers, visits = count(1), {(item.target, item.side) for visit in assessment.come_back for item in visit.items}
    made: list[Group] = []
    for group in assessment.do:
        if group.deadline == "now":
            made.append(
                Group("Now", "", True, tuple(_line(one, assessment, clock, next(numbers)) for one in group.items))
            )
    if assessment.to_chase:
        lines = tuple(_line(one, assessment, clock, next(numbers)) for one in assessment.to_chase)
        made.append(Group("To chase now: ordered, overdue", "", True, lines))
    if assessment.to_judge:
        made.append(Group("To judge before they leave", "", True, tuple(_judged(assessment, clock, numbers))))
    for group in assessment.do:
        items = [
            one for one in group.items
            if not (group.deadline == "by a date" and one.kind == "recheck" and (one.target, one.side) in visits)
        ]  # fmt: skip
        if group.deadline != "now" and items:
            by = f"by {clock.tell(group.until)}" if group.until and group.deadline != "before they leave" else ""
            lines = tuple(_line(one, assessment, clock, next(numbers)) for one in items)
            made.append(Group(group.deadline[:1].upper() + group.deadline[1:], by, False, lines))
    if assessment.avoid:
        lines = tuple(_line(one, assessment, clock, next(numbers)) for one in assessment.avoid)
        made.append(Group("Do not", "", False, lines))
    return made


def standing(assessment: Assessment, clock: Clock) -> list[str]:
    """Return what is ordered, done or declined already, and so not proposed again."""
    told = []
    for one in assessment.standing:
        order = one.placed
        state = "done" if order is None else _STATES.get(order.status, order.status)
        told.append(f"{named(one)}: {state}" + (f" on {clock.day(order.time)}" if order and order.time else ""))
    return listed(told)


def _line(one: Recommendation, assessment: Assessment, clock: Clock, number: int) -> Line:
    reason = one.reasons[0]
    when = (
        "" if one.window.text == "no fixed time" else clock.window(one.window, hours=one.priority in ("stat", "asap"))
    )
    return Line(
        number=number,
        what=asked(one),
        when="" if when == "now" else when,
        why=brief(one, assessment, clock),
        reserve=reserve(one, full=False) or "",
        mark=marks(reason.sources).strip(" ()"),
        do=one.do,
        rule=reason.rule,
        sources=reason.sources,
    )


def _judged(assessment: Assessment, clock: Clock, numbers: Iterator[int]) -> Iterator[Line]:
    for together in by_value(assessment.to_judge):
        values = listed(found(used, clock) for one in together for used in one.values)
        hangs = listed(named(one) for one in together)
        why = " ".join([*listed(one.why for one in together), *listed(one.settles for one in together)])
        rule = together[0].rules[0] if together[0].rules else ""
        yield Line(next(numbers), "; ".join(values), "", why, f"May need: {'; '.join(hangs)}.", "", (), rule, ())
