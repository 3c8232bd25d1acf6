"""One decision beside what a case expects of it.

Of the answer only that is made which the case asks for, by the same functions that make the whole `Assessment`: most
cases ask for one or two targets and the statuses of a few rules.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property

from layette.engine.answer.outstanding import outstanding
from layette.engine.answer.parts.assessment import Measured
from layette.engine.answer.parts.context import Context
from layette.engine.answer.report import answers, conclusions, measures, not_evaluated
from layette.engine.answer.resolved.chase import overdue_orders
from layette.engine.answer.resolved.due import Missing, due_items, wanted, wanted_now
from layette.engine.answer.resolved.judge import to_judge
from layette.engine.answer.resolved.recommend import recommendations
from layette.engine.answer.resolved.resolve import gather
from layette.engine.answer.resolved.standing import sorted_out
from layette.engine.answer.resolved.worlds import Weighed, weigh
from layette.engine.answer.shapes.proposed import Due, Recommendation
from layette.engine.cases.written import Expect, Expected
from layette.engine.logic.conditions import Status
from layette.engine.logic.program import Reader
from layette.engine.pack.written.written import Instance
from layette.engine.terms import Kind

Numbers = Mapping[str, Sequence[int]]
"""For each rule, by its id and by its id with a side, its numbers in the program."""

LISTED: tuple[tuple[Kind, ...], ...] = (("refer", "order", "recheck"), ("avoid",), ("guide",), ("reassure",))
"""The kinds of recommendation in the order of the lists in which the answer holds them."""


def numbers_of(instances: Sequence[Instance]) -> Numbers:
    """Return the numbers of every rule."""
    found: dict[str, list[int]] = {}
    for index, instance in enumerate(instances):
        for name in dict.fromkeys((instance.key, instance.rule.shape.id)):
            found.setdefault(name, []).append(index)
    return found


class _Decided:
    """A decision with what several of the things that a case expects are held to, each made once."""

    def __init__(self, context: Context, readers: Sequence[Reader]) -> None:
        """Take a decision, and who decides the worlds that are weighed beside it."""
        self.context, self.readers = context, readers

    @cached_property
    def missing(self) -> Sequence[Missing]:
        """What is wanted by an age and not on record."""
        return wanted(self.context)

    @cached_property
    def due_now(self) -> Sequence[Due]:
        """What of it is not wanted later only."""
        return [due for due in due_items(self.missing, self.context) if due.state != "later"]

    @cached_property
    def weighed(self) -> Weighed:
        """What the visit brings, with the worlds beside it."""
        return weigh(self.context, gather(self.context, wanted_now(self.missing, self.context)), self.readers)


def differences(expect: Expect, context: Context, numbers: Numbers, readers: Sequence[Reader]) -> Iterator[str]:
    """Yield each way in which the answer to a visit differs from what a case expects.

    ``readers`` decide the worlds that are weighed beside the visit.
    """
    decided = _Decided(context, readers)
    yield from _proposals(expect, decided)
    yield from _judged(expect, decided)
    yield from _chased(expect, decided)
    yield from _settled(expect, context)
    yield from _statuses(expect, context, numbers)
    yield from _not_evaluated(expect, context)
    yield from _due(expect, decided)
    yield from _measures(expect, context)
    yield from _conclusions(expect, context)


def _proposals(expect: Expect, decided: _Decided) -> Iterator[str]:
    made = _made(expect, decided)
    for wanted_one in expect.recommend:
        if not any(_matches(wanted_one, r) for r in made) and not _looked_up(wanted_one, decided.due_now):
            have = ", ".join(_said(r) for r in made if r.target == wanted_one.target)
            yield f"expected {wanted_one.said}, found {have or 'nothing for it'}"
    for target in expect.provisional:
        if not any(r.target == target and any(g.status == "provisional" for g in r.reasons) for r in made):
            yield f"expected a provisional reason for '{target}'"
    for target in expect.none:
        if any(r.target == target for r in made):
            yield f"expected no recommendation for '{target}'"


def _said(made: Recommendation) -> str:
    reasons = ", ".join(f"{one.rule} {one.status}" for one in made.reasons)
    return " ".join(part for part in (made.target, made.priority, made.side, f"by {reasons}") if part)


def _looked_up(expected: Expected, wanted: Sequence[Due]) -> bool:
    """Whether what is expected is wanted and not on record: looked up first, else done."""
    mine = [due for due in wanted if due.target == expected.target]
    return (
        bool(mine)
        and expected.priority in (None, *(due.priority for due in mine))
        and expected.rule in (None, *(due.rule for due in mine))
    )


def _made(expect: Expect, decided: _Decided) -> list[Recommendation]:
    """Return what is proposed for the targets that a case names; what their reasons wait for is not asked."""
    targets = {*(r.target for r in expect.recommend), *expect.provisional, *expect.none}
    if not targets:
        return []
    context = decided.context
    told = sorted_out(recommendations(decided.weighed.grounds, context, targets), context, decided.readers)
    return [r for kinds in LISTED for r in (*told.proposed, *told.to_chase) if r.kind in kinds]


def _matches(expected: Expected, found: Recommendation) -> bool:
    return (
        expected.target == found.target
        and expected.priority in (None, found.priority)
        and expected.side in (None, found.side)
        and (expected.rule is None or any(g.rule == expected.rule for g in found.reasons))
        and (expected.status is None or any(g.status == expected.status for g in found.reasons))
    )


def _judged(expect: Expect, decided: _Decided) -> Iterator[str]:
    if not (expect.to_judge or expect.not_to_judge):
        return
    weighed = decided.weighed
    found = {item.target for item in to_judge(weighed.doubts, weighed.judged, decided.context)}
    have = ", ".join(sorted(found)) or "nothing"
    yield from (f"expected '{t}' to be judged, found {have}" for t in expect.to_judge if t not in found)
    yield from (f"expected nothing to be judged for '{t}'" for t in expect.not_to_judge if t in found)


def _chased(expect: Expect, decided: _Decided) -> Iterator[str]:
    if not expect.to_chase:
        return
    context, readers = decided.context, decided.readers
    told = sorted_out(recommendations(decided.weighed.grounds, context), context, readers)
    known = [*told.proposed, *told.to_chase]
    found = {one.target for one in (*told.to_chase, *overdue_orders(known, context, readers))}
    have = ", ".join(sorted(found)) or "nothing"
    yield from (f"expected '{t}' to be chased, found {have}" for t in expect.to_chase if t not in found)


def _settled(expect: Expect, context: Context) -> Iterator[str]:
    unsettled = {a.target for a in answers(context) if not a.settled} if expect.settled else set()
    yield from (f"expected '{target}' to be settled" for target in expect.settled if target in unsettled)


def _statuses(expect: Expect, context: Context, numbers: Numbers) -> Iterator[str]:
    expected = [
        ("undecided", expect.undecided),
        ("ruled out", expect.ruled_out),
        ("not applicable", expect.not_applicable),
    ]
    for word, rules in expected:
        for rule in rules:
            have = {_status(context, index) for index in numbers.get(rule, ())}
            fits = word in have or (word == "ruled out" and have == {"not applicable"})
            if not fits:
                yield f"expected {rule} {word}, found {', '.join(sorted(have)) or 'nothing'}"


def _status(context: Context, index: int) -> str:
    status = context.statuses[index]
    return "not applicable" if status is Status.RULED_OUT and context.not_applicable(index) else status.value


def _not_evaluated(expect: Expect, context: Context) -> Iterator[str]:
    if not expect.cannot_evaluate:
        return
    unread = {n.rule for n in not_evaluated(context, outstanding(context))}
    for rule in expect.cannot_evaluate:
        if rule not in unread:
            yield f"expected {rule} not to be evaluated"


def _due(expect: Expect, decided: _Decided) -> Iterator[str]:
    instances = decided.context.pack.instances
    due = {instances[one.rule].rule.shape.id: one.state for one in decided.missing} if expect.due else {}
    for rule, state in expect.due.items():
        if due.get(rule) != state:
            yield f"expected {rule} {state}, found {due.get(rule, 'not due')}"


def _measures(expect: Expect, context: Context) -> Iterator[str]:
    known = [name for name in expect.measures if name in context.pack.measures]
    found = {m.id: m for m in measures(context, known)}
    for name, value in expect.measures.items():
        have = found.get(name)
        if have is None or not _equal(have, value):
            yield f"expected {name} = {value}, found {have.text if have else 'nothing'}"


def _equal(found: Measured, value: str | float) -> bool:
    """Whether a measure is what is expected: a text is its category or how it is printed, a number its lower end."""
    if isinstance(value, str):
        return (found.category or found.text) == value
    return found.low is not None and float(found.low) == float(value)


def _conclusions(expect: Expect, context: Context) -> Iterator[str]:
    found = {c.id: c.state for c in conclusions(context)} if expect.conclusions else {}
    for name, state in expect.conclusions.items():
        if found.get(name) != state:
            yield f"expected {name} {state}, found {found.get(name, 'nothing')}"
