"""What to do, by deadline: now, with its reason; then a line each, the far-off last."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import count

from layette.engine.answer.parts.assessment import Assessment, DoGroup
from layette.engine.answer.shapes.proposed import Recommendation
from layette.mapping.text import pressing
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import asked, listed, named
from layette.mapping.text.layout import Page, sentence, wrapped
from layette.mapping.text.reasons import brief, marks, once, reserve, whole

INDENT = "     "
_STATES = {"active": "ordered", "revoked": "declined", "completed": "done", "draft": "proposed"}
_FEW = 4
NO_TIME = "no fixed time"


class DoNots:
    """What is not to be done: each stands under the first action that shares a rule with it, else in one block."""

    def __init__(self, avoid: Sequence[Recommendation]) -> None:
        """Keep what is not to be done until an action asks for it."""
        self._left = list(avoid)
        self._told: set[str] = set()

    def under(self, made: Recommendation) -> list[str]:
        """Return, once, what is not to be done beside an action."""
        rules = {reason.rule for reason in made.reasons}
        here = [one for one in self._left if rules & {reason.rule for reason in one.reasons}]
        self._left = [one for one in self._left if one not in here]
        labels = listed(one.label for one in here if one.label not in self._told)
        self._told.update(labels)
        return labels

    def rest(self) -> list[Recommendation]:
        """Return what belongs to no action on the page, and is not told yet."""
        return [one for one in self._left if one.label not in self._told]


def write(page: Page, assessment: Assessment, clock: Clock) -> None:
    """Write all that is proposed; what presses is never cut."""
    numbers, do_nots = count(1), DoNots(assessment.avoid)
    for group in assessment.do:
        if group.deadline == "now":
            _now(page, group, assessment, clock, numbers, do_nots)
    pressing.to_chase(page, assessment, clock, numbers)
    pressing.to_judge(page, assessment, clock, numbers)
    for group in assessment.do:
        if group.deadline != "now":
            _later(page, group, assessment, clock, numbers, do_nots)
    _do_not(page, assessment.avoid if page.full else do_nots.rest(), clock)
    _standing(page, assessment, clock)


def _now(
    page: Page, group: DoGroup, assessment: Assessment, clock: Clock, numbers: Iterator[int], do_nots: DoNots
) -> None:
    page.heading("NOW", "stat")
    for made in group.items:
        number = next(numbers)
        if made.priority != "stat":  # proposed before, and never ordered: its reason was told then
            _one_line(page, made, group, clock, number, do_nots)
            continue
        page.rules[number] = made.reasons[0].rule
        when = made.window.until
        by = f", by {clock.tell(when)}" if when and (page.full or clock.far(when)) else ""
        by = f", {clock.window(made.window)}" if made.window.overdue else by
        why = None if page.full else once(page, brief(made, assessment, clock), number)
        mark = "" if page.full else marks(made.reasons[0].sources)
        page.put(sentence([asked(made) + by, why, reserve(made, full=page.full)]) + mark, f"{number:3}  ")
        _details(page, made, clock, do_nots)


def _details(page: Page, made: Recommendation, clock: Clock, do_nots: DoNots) -> None:
    """Write what is asked for, what else fired, and what is not to be done; nothing of it is cut."""
    if made.do:
        page.put("Ask for: " + " · ".join(made.do), INDENT)
    if page.full:
        _reasons(page, made, clock)
    elif len(made.reasons) > 1:
        page.put("Also: " + page.fitted(listed(one.title for one in made.reasons[1:]), 1, INDENT + "Also: "), INDENT)
    _beside(page, made, do_nots)


def _beside(page: Page, made: Recommendation, do_nots: DoNots) -> None:
    labels = do_nots.under(made)
    if labels:
        page.put("Do not: " + " · ".join(labels), INDENT)


def _reasons(page: Page, made: Recommendation, clock: Clock) -> None:
    if made.looks_at:
        page.put("Look at: " + "; ".join(made.looks_at) + ".", INDENT)
    whole(page, made, INDENT, clock)


def _later(
    page: Page, group: DoGroup, assessment: Assessment, clock: Clock, numbers: Iterator[int], do_nots: DoNots
) -> None:
    items = [one for one in group.items if page.full or not _comes_back(one, group, assessment)]
    if not items:
        return
    by = f" (by {clock.tell(group.until)})" if group.until and group.deadline != "before they leave" else ""
    page.heading(f"{group.deadline.upper()}{by}", "asap" if group.items[0].priority == "asap" else "head")
    for made in items:
        _one_line(page, made, group, clock, next(numbers), do_nots)


def _one_line(page: Page, made: Recommendation, group: DoGroup, clock: Clock, number: int, do_nots: DoNots) -> None:
    first = f"{number:3}  "
    page.put(_line(page, made, group, clock, first), first)
    if page.full:
        if made.do:
            page.put("Ask for: " + " · ".join(made.do), INDENT)
        _reasons(page, made, clock)
    _beside(page, made, do_nots)


def _comes_back(made: Recommendation, group: DoGroup, assessment: Assessment) -> bool:
    """Whether a far-off recheck stands under COME BACK, and need not be said twice."""
    visits = {(item.target, item.side) for visit in assessment.come_back for item in visit.items}
    return group.deadline == "by a date" and made.kind == "recheck" and (made.target, made.side) in visits


def _line(page: Page, made: Recommendation, group: DoGroup, clock: Clock, first: str) -> str:
    """Return one line: what, by when where that is not the group's end, and as much of what is asked for as fits."""
    when = _when(made, group, clock, full=page.full)
    what, reserved = asked(made) + (f", {when}" if when else ""), reserve(made, full=page.full)
    mark = "" if page.full else marks(made.reasons[0].sources)
    for kept in range(0 if page.full else len(made.do), 0, -1):
        left = len(made.do) - kept
        more = f" · and {left} more (--all)" if left else ""
        line = sentence([f"{what}: {' · '.join(made.do[:kept])}{more}", reserved]) + mark
        if len(wrapped(line, page.width, first, INDENT)) == 1:
            return line
    return sentence([what, reserved]) + mark


def _when(made: Recommendation, group: DoGroup, clock: Clock, *, full: bool) -> str:
    until = made.window.until
    if not full and made.window.text == NO_TIME:
        return ""
    if full or made.window.overdue or group.until is None:
        return clock.window(made.window, hours=full or made.window.overdue)
    earlier = until is not None and clock.far(group.until) and until[:13] < group.until[:13]
    return f"by {clock.tell(until)}" if until and earlier else ""


def _do_not(page: Page, avoid: Sequence[Recommendation], clock: Clock) -> None:
    if not avoid:
        return
    page.heading("DO NOT")
    if not page.full:
        page.put(page.fitted(listed(map(named, avoid)), 3))
    for one in avoid if page.full else ():
        when = f", {clock.window(one.window)}" if one.window.until else ""
        page.put(sentence([named(one) + when]), "  -  ")
        if one.do:
            page.put(" · ".join(one.do), INDENT)
        whole(page, one, INDENT, clock)


def _standing(page: Page, assessment: Assessment, clock: Clock) -> None:
    if assessment.standing:
        page.heading("ALREADY ORDERED, DONE OR DECLINED (not proposed again)")
        page.several([_state(one, clock, full=page.full) for one in assessment.standing], _FEW)


def _state(one: Recommendation, clock: Clock, *, full: bool) -> str:
    rule = f" ({', '.join(reason.rule for reason in one.reasons)})" if full else ""
    order = one.placed
    if order is None:
        return f"{named(one)}: done{rule}"
    state = _STATES.get(order.status, order.status) + (f" on {clock.tell(order.time)}" if order.time else "")
    late = f", OVERDUE since {clock.tell(order.until)}: no result on record" if order.overdue and order.until else ""
    return f"{named(one)}: {state}, {order.priority or 'no priority given'}{late}{rule}"
