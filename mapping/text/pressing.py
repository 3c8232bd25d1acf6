"""What was asked for and is overdue, and what a person has to judge: right after what must happen now."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.answer.parts.judged_at_once import by_value
from layette.engine.answer.shapes.proposed import Reason, Recommendation, Used
from layette.mapping.text.clock import Clock
from layette.mapping.text.labels import listed, named, short
from layette.mapping.text.layout import Page, sentence
from layette.mapping.text.reasons import brief, marks, reserve, whole
from layette.mapping.text.values import value

_INDENT = "     "
_MEANS = {"stat": "now", "asap": "within a day", "urgent": "within two weeks", "routine": "by a date"}


def to_chase(page: Page, assessment: Assessment, clock: Clock, numbers: Iterator[int]) -> None:
    """Write each order that presses and is overdue, since when, and the finding that made it."""
    if not assessment.to_chase:
        return
    page.heading("TO CHASE NOW (ordered, overdue)", "stat")
    for made in assessment.to_chase:
        number = next(numbers)
        page.rules[number] = made.reasons[0].rule
        why = None if page.full else brief(made, assessment, clock)
        unseen = "Not looked at again today" if _not_looked_at(made.reasons[0], assessment, clock) else None
        reserved = reserve(made.model_copy(update={"placed": None}), full=page.full)
        mark = "" if page.full else marks(made.reasons[0].sources)
        page.put(sentence([_ordered(made, clock), why, unseen, reserved]) + mark, f"{number:3}  ")
        if made.do:
            page.put("Ask for: " + " · ".join(made.do), _INDENT)
        if page.full:
            whole(page, made, _INDENT, clock)


def _ordered(made: Recommendation, clock: Clock) -> str:
    order = made.placed
    since = f"asked for on {clock.tell(order.time)}" if order and order.time else "asked for"
    seen = "to be seen by" if made.kind == "refer" else "due by"
    end = (order.until if order else None) or made.window.until
    late = f", {seen} {clock.tell(end)}" if end else ""
    return f"{named(made)}: {since}{late}"


def _not_looked_at(reason: Reason, assessment: Assessment, clock: Clock) -> bool:
    """Whether what made an order was found on an earlier day, and nothing of it was recorded since."""
    dated = [used for used in reason.values if used.time]
    again = {pair.label for pair in assessment.compared}
    return bool(dated) and not any(clock.today(used.time or "") or used.label in again for used in dated)


def to_judge(page: Page, assessment: Assessment, clock: Clock, numbers: Iterator[int]) -> None:
    """Write each value that the rules cannot judge: its time, why, what would settle it, what hangs on it."""
    if not assessment.to_judge:
        return
    page.heading("TO JUDGE BEFORE THEY LEAVE", "asap")
    for together in by_value(assessment.to_judge):
        number, first = next(numbers), together[0]
        page.rules[number] = first.rules[0] if first.rules else ""
        most = {named(one): one.priority for one in reversed(together)}  # the most pressing stands first
        hangs = "; ".join(f"{named(one)} ({_MEANS[most.pop(named(one))]})" for one in together if named(one) in most)
        values = _values([used for one in together for used in one.values], clock)
        reasons = [*listed(one.why for one in together), *listed(one.settles for one in together)]
        page.put(sentence([values, *reasons, f"May need: {hangs}"]), f"{number:3}  ")
        if page.full:
            page.put("By " + ", ".join(listed(rule for one in together for rule in one.rules)) + ".", _INDENT)


def _values(values: Iterable[Used], clock: Clock) -> str:
    """Return recorded values with their time, those of one name and time together."""
    by_name: dict[tuple[str, str], list[str]] = {}
    for used in values:
        when = f", {clock.hour(used.time)}" if used.time else ""
        by_name.setdefault((short(used.label), when), []).append(value(used))
    return "; ".join(f"{label}: {' and '.join(_each(told))}{when}" for (label, when), told in by_name.items())


def _each(told: Sequence[str]) -> list[str]:
    """Return each value once: "15 or 9.8" says nothing beside 15 and 9.8."""
    return [one for one in listed(told) if " or " not in one or not {*one.split(" or ")} <= {*told}]
