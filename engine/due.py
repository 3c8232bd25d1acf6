"""What is wanted by an age and not on record: screens, results, doses."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, NamedTuple

from .assessment import Due
from .compile import Instance
from .conditions import Status
from .model import FindingShape
from .proposals import Proposal
from .readings import Where
from .references import listed
from .times import AgeBounds, age_bounds, within
from .windows import Real, window_for

if TYPE_CHECKING:
    from .decide import Decision
    from .facts import Facts
    from .visit import Recorded


@dataclass(frozen=True, slots=True)
class DueRule:
    """A rule that asks whether one of some findings is on record, laid out once a pack.

    ``places`` are the sides of each finding; a recording counts at an age within ``bounds``.
    """

    index: int
    side: str
    proposal: Proposal
    places: tuple[tuple[Where, ...], ...]
    bounds: AgeBounds


class Wanted(NamedTuple):
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
            places = tuple(tuple((name, side) for side in findings[name].sides or ("",)) for name in listed(shape.due))
            bounds = age_bounds((shape.where or {}).get("age", {}))
            found.append(DueRule(index, instance.side, proposals[index][0], places, bounds))
    return tuple(found)


def wanted(decision: Decision) -> list[Wanted]:
    """Return what is wanted by an age and not on record, now or later."""
    facts, statuses, at = decision.facts, decision.statuses, decision.facts.visit.at.lo
    fired, provisional = Status.FIRED, Status.PROVISIONAL
    out = []
    for rule in facts.pack.due_rules:
        status = statuses[rule.index]
        if (status is fired or status is provisional) and not _on_record(rule, facts):
            window = window_for(rule.proposal, rule.side, facts)
            later = window.start is not None and window.start > at and not window.overdue
            out.append(Wanted(rule.index, window, "later" if later else ("overdue" if window.overdue else "due")))
    return out


def wanted_now(found: Sequence[Wanted]) -> dict[int, Real]:
    """Return the windows of what is wanted at this visit, by rule number."""
    return {rule: window for rule, window, state in found if state != "later"}


def due_items(found: Sequence[Wanted], facts: Facts) -> tuple[Due, ...]:
    """Return what is wanted as it is published."""
    return tuple(_item(one, facts) for one in found)


def _item(one: Wanted, facts: Facts) -> Due:
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
    by_place = facts.readings.by_place
    mentioned = [sides for sides in rule.places if not by_place.keys().isdisjoint(sides)]
    if not mentioned:
        return False
    found = [_recorded(sides, rule.bounds, facts) for sides in mentioned]
    return True in found or (len(mentioned) == len(rule.places) and all(one is None for one in found))


def _recorded(sides: tuple[Where, ...], bounds: AgeBounds, facts: Facts) -> bool | None:
    """Whether a finding is on record on every side that applies; None where it does not apply."""
    name, _ = sides[0]
    if facts.pack.findings[name].readings:
        made = [r for attempt in facts.readings.attempts(name) for r in attempt.values()]
        return _counts(made, bounds, facts)
    applying = [place for place in sides if not _does_not_apply(place, facts)]
    for place in applying:
        if not _counts(facts.readings.all(*place), bounds, facts):
            return False
    return True if applying else None


def _does_not_apply(place: Where, facts: Facts) -> bool:
    used = facts.readings.used(*place)
    return used is not None and used.absent == "not-applicable"


def _counts(made: Sequence[Recorded], bounds: AgeBounds, facts: Facts) -> bool:
    """Whether one of the recordings has a value that counts at this visit, made at an age within ``bounds``."""
    for reading in made:
        if reading.possible is not None and (reading.here or facts.pack.findings[reading.finding].carries_over):
            low, high = reading.time.lo - facts.visit.born.hi, reading.time.hi - facts.visit.born.lo
            if within(bounds, low, high):
                return True
    return False
