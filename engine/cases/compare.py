"""One decision beside what a case expects of it.

Of the answer only that is made which the case asks for, by the same functions that make the whole `Assessment`: most
cases ask for one or two targets and the statuses of a few rules.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from layette.engine.answer.assemble import answers, concluded, measured, not_evaluated, proposed
from layette.engine.answer.assessment import Kind, Measured, Recommendation
from layette.engine.answer.due import wanted
from layette.engine.answer.outstanding import outstanding
from layette.engine.answer.standing import stands
from layette.engine.cases.written import Expect, Expected
from layette.engine.logic.conditions import Status
from layette.engine.pack.compile import Instance
from layette.engine.states.decide import Decision

Numbers = Mapping[str, Sequence[int]]
"""For each rule, by its id and by its id with a side, its numbers in the program."""

LISTED: tuple[tuple[Kind, ...], ...] = (("refer", "order", "recheck"), ("avoid",), ("guide",), ("reassure",))
"""The kinds of recommendation in the order of the lists in which the answer holds them."""


def numbers_of(instances: Sequence[Instance]) -> Numbers:
    """Return the numbers of every rule."""
    found: dict[str, list[int]] = {}
    for index, instance in enumerate(instances):
        for name in {instance.key, instance.rule.shape.id}:
            found.setdefault(name, []).append(index)
    return found


def differences(expect: Expect, decision: Decision, numbers: Numbers) -> Iterator[str]:
    """Yield each way in which the answer to a visit differs from what a case expects."""
    yield from _proposals(expect, decision)
    yield from _settled(expect, decision)
    yield from _statuses(expect, decision, numbers)
    yield from _not_evaluated(expect, decision)
    yield from _due(expect, decision)
    yield from _measures(expect, decision)
    yield from _conclusions(expect, decision)


def _proposals(expect: Expect, decision: Decision) -> Iterator[str]:
    made = _made(expect, decision)
    for wanted_one in expect.recommend:
        if not any(_matches(wanted_one, r) for r in made):
            have = ", ".join(f"{r.target} {r.priority}" for r in made if r.target == wanted_one.target)
            yield f"expected {wanted_one.model_dump(exclude_none=True)}, found {have or 'nothing for it'}"
    for target in expect.provisional:
        if not any(r.target == target and any(g.status == "provisional" for g in r.reasons) for r in made):
            yield f"expected a provisional reason for '{target}'"
    for target in expect.none:
        if any(r.target == target for r in made):
            yield f"expected no recommendation for '{target}'"


def _made(expect: Expect, decision: Decision) -> list[Recommendation]:
    """Return what is proposed for the targets that a case names; what their reasons wait for is not asked."""
    targets = {*(r.target for r in expect.recommend), *expect.provisional, *expect.none}
    if not targets:
        return []
    made = [r for r in proposed(decision, wanted(decision), {}, targets) if not stands(r, decision.facts)]
    return [r for kinds in LISTED for r in made if r.kind in kinds]


def _matches(expected: Expected, found: Recommendation) -> bool:
    return (
        expected.target == found.target
        and expected.priority in (None, found.priority)
        and expected.side in (None, found.side)
        and (expected.rule is None or any(g.rule == expected.rule for g in found.reasons))
        and (expected.status is None or any(g.status == expected.status for g in found.reasons))
    )


def _settled(expect: Expect, decision: Decision) -> Iterator[str]:
    unsettled = {a.target for a in answers(decision) if not a.settled} if expect.settled else set()
    yield from (f"expected '{target}' to be settled" for target in expect.settled if target in unsettled)


def _statuses(expect: Expect, decision: Decision, numbers: Numbers) -> Iterator[str]:
    expected = [
        ("undecided", expect.undecided),
        ("ruled out", expect.ruled_out),
        ("not applicable", expect.not_applicable),
    ]
    for word, rules in expected:
        for rule in rules:
            have = {_status(decision, index) for index in numbers.get(rule, ())}
            fits = word in have or (word == "ruled out" and have == {"not applicable"})
            if not fits:
                yield f"expected {rule} {word}, found {', '.join(sorted(have)) or 'nothing'}"


def _status(decision: Decision, index: int) -> str:
    status = decision.statuses[index]
    return "not applicable" if status is Status.RULED_OUT and decision.not_applicable(index) else status.value


def _not_evaluated(expect: Expect, decision: Decision) -> Iterator[str]:
    if not expect.cannot_evaluate:
        return
    unread = {n.rule for n in not_evaluated(decision, outstanding(decision))}
    for rule in expect.cannot_evaluate:
        if rule not in unread:
            yield f"expected {rule} not to be evaluated"


def _due(expect: Expect, decision: Decision) -> Iterator[str]:
    instances = decision.facts.pack.instances
    due = {instances[one.rule].rule.shape.id: one.state for one in wanted(decision)} if expect.due else {}
    for rule, state in expect.due.items():
        if due.get(rule) != state:
            yield f"expected {rule} {state}, found {due.get(rule, 'not due')}"


def _measures(expect: Expect, decision: Decision) -> Iterator[str]:
    known = [name for name in expect.measures if name in decision.facts.pack.measures]
    found = {m.id: m for m in measured(decision.facts, known)}
    for name, value in expect.measures.items():
        have = found.get(name)
        if have is None or not _equal(have, value):
            yield f"expected {name} = {value}, found {have.text if have else 'nothing'}"


def _equal(found: Measured, value: str | float) -> bool:
    """Whether a measure is what is expected: a text is its category or how it is printed, a number its lower end."""
    if isinstance(value, str):
        return (found.category or found.text) == value
    return found.low is not None and float(found.low) == float(value)


def _conclusions(expect: Expect, decision: Decision) -> Iterator[str]:
    found = {c.id: c.state for c in concluded(decision)} if expect.conclusions else {}
    for name, state in expect.conclusions.items():
        if found.get(name) != state:
            yield f"expected {name} {state}, found {found.get(name, 'nothing')}"
