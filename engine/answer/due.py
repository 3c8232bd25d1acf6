"""What is wanted by an age and not on record: screens, results, doses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from layette.engine.answer.assessment import Due
from layette.engine.answer.proposals import Proposal
from layette.engine.answer.windows import Real, window_for
from layette.engine.exact.times import AgeBounds, age_bounds, within
from layette.engine.logic.conditions import Status
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.pack.written.written import Instance
from layette.engine.states.looks import NOT_APPLICABLE
from layette.engine.visit.recordings import Where

if TYPE_CHECKING:
    from layette.engine.states.decide import Decision
    from layette.engine.states.facts import Facts
    from layette.engine.visit.visit import Recorded


class DueFinding(NamedTuple):
    """A finding that is due: its sides as places, whether it is read in parts, whether an older value counts."""

    name: str
    places: tuple[Where, ...]
    in_parts: bool
    carries_over: bool


@dataclass(frozen=True, slots=True)
class DueRule:
    """A rule that asks whether one of some findings is on record, laid out once a pack.

    A recording counts at an age within ``bounds``.
    """

    index: int
    proposal: Proposal
    findings: tuple[DueFinding, ...]
    bounds: AgeBounds


class Missing(NamedTuple):
    """Something that is not on record: the number of its rule, when it is wanted."""

    rule: int
    window: Real
    state: Literal["later", "overdue", "due"]


def due_rules(
    instances: Sequence[Instance], proposals: Sequence[Sequence[Proposal]], findings: Mapping[str, FindingShape]
) -> tuple[DueRule, ...]:
    """Return the rules of a program that ask whether something is on record."""
    found = []
    for index, instance in enumerate(instances):
        shape = instance.rule.shape
        if shape.due is not None:
            due = tuple(_due_finding(name, findings[name]) for name in listed(shape.due))
            bounds = age_bounds((shape.where or {}).get("age", {}))
            found.append(DueRule(index, proposals[index][0], due, bounds))
    return tuple(found)


def _due_finding(name: str, shape: FindingShape) -> DueFinding:
    places = tuple((name, side) for side in shape.sides or ("",))
    return DueFinding(name, places, shape.readings is not None, shape.carries_over)


def wanted(decision: Decision) -> list[Missing]:
    """Return what is wanted by an age and not on record, now or later."""
    facts, statuses, at = decision.facts, decision.statuses, decision.facts.visit.at.lo
    fired, provisional = Status.FIRED, Status.PROVISIONAL
    out = []
    for rule in facts.pack.due_rules:
        status = statuses[rule.index]
        if (status is fired or status is provisional) and not _on_record(rule, facts):
            window = window_for(rule.proposal, facts)
            later = window.start is not None and window.start > at and not window.overdue
            out.append(Missing(rule.index, window, "later" if later else ("overdue" if window.overdue else "due")))
    return out


def wanted_now(found: Sequence[Missing]) -> dict[int, Real]:
    """Return the windows of what is wanted at this visit, by rule number."""
    return {rule: window for rule, window, state in found if state != "later"}


def due_items(found: Sequence[Missing], facts: Facts) -> tuple[Due, ...]:
    """Return what is wanted as it is published."""
    return tuple(_item(one, facts) for one in found)


def _item(one: Missing, facts: Facts) -> Due:
    shape = facts.pack.instances[one.rule].rule.shape
    return Due(
        finding=listed(shape.due)[0],
        label=" or ".join(facts.pack.findings[name].label for name in listed(shape.due)),
        rule=shape.id,
        window=one.window.shown(facts),
        state=one.state,
        priority=facts.pack.proposals[one.rule][0].priority,
        because=shape.because,
        sources=facts.pack.citations(tuple(listed(shape.source))),
    )


def _on_record(rule: DueRule, facts: Facts) -> bool:
    """Whether one of the findings is recorded on every side that applies, as `where` asks, or none applies."""
    apply = False
    for due in rule.findings:
        recorded = _recorded(due, rule.bounds, facts)
        if recorded:
            return True
        apply = apply or recorded is False
    return not apply


def _recorded(due: DueFinding, bounds: AgeBounds, facts: Facts) -> bool | None:
    """Whether a finding is on record on every side that applies; None where it does not apply."""
    if due.in_parts:
        attempts = facts.readings.attempts(due.name)
        return any(_counts(r, due, bounds, facts) for made in attempts for r in made.values())
    in_use, applies = facts.readings.in_use, None
    for place in due.places:
        if place not in in_use:
            return False
        used = in_use[place]
        if used is None or used.absent != NOT_APPLICABLE:
            applies = True
            if not (used and _counts(used, due, bounds, facts)) and not _any_counts(place, due, bounds, facts):
                return False
    return applies


def _any_counts(place: Where, due: DueFinding, bounds: AgeBounds, facts: Facts) -> bool:
    return any(_counts(r, due, bounds, facts) for r in facts.readings.all(*place))


def _counts(made: Recorded, due: DueFinding, bounds: AgeBounds, facts: Facts) -> bool:
    """Whether a recording has a value that counts at this visit, made at an age within ``bounds``."""
    if made.possible is None or not (made.here or due.carries_over):
        return False
    born, time = facts.visit.born, made.time
    return not bounds or within(bounds, time.lo - born.hi, time.hi - born.lo)
