"""What is still open: findings that would settle something, by step of the examination."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from layette.engine.answer.laid.questions import Open
from layette.engine.answer.laid.waiting import Waiting, waiting
from layette.engine.answer.parts.asked import waits_for
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.unordered import waits_for_nobody
from layette.engine.answer.shapes.detail import NotEvaluated, Step
from layette.engine.answer.shapes.part import known
from layette.engine.logic.conditions import Status
from layette.engine.terms import PRIORITIES, Priority
from layette.engine.visit.recordings import Where

_step = known(Step)


@dataclass(frozen=True)
class Outstanding:
    """Everything that is open at a visit."""

    steps: tuple[Step, ...]
    not_evaluated: tuple[NotEvaluated, ...]
    notices: tuple[str, ...]


def outstanding(context: Context) -> Outstanding:
    """Gather what the undecided and provisional rules still wait for."""
    open_findings: defaultdict[Where, list[tuple[int, bool]]] = defaultdict(list)
    not_evaluated: dict[NotEvaluated, None] = {}
    history: dict[Where, None] = {}
    for index, priority in _open_rules(context):
        waits = _waiting(index, context)
        for place, alone in waits.places:
            open_findings[place].append((index, alone))
        if waits.history:
            history |= dict.fromkeys(waits.history)
        if waits.supplied:
            not_evaluated[_without(waits.supplied[0], index, priority, context)] = None
    labels = dict.fromkeys(context.plan.label(*place) for place in history)
    notices = (f"no earlier visit on record for: {'; '.join(labels)}",) if labels else ()
    return Outstanding(tuple(_steps(open_findings, context)), tuple(not_evaluated), notices)


def _without(measure: str, index: int, priority: Priority, context: Context) -> NotEvaluated:
    shape, why = context.pack.instances[index].rule.shape, context.facts.result(measure).why_not
    return NotEvaluated(rule=shape.id, title=shape.title, why=f"cannot evaluate: {why}", priority=priority)


def _open_rules(context: Context) -> Iterator[tuple[int, Priority]]:
    """Yield the rules that are open and could bring something, with their priority."""
    fired, ruled_out, if_ordered = Status.FIRED, Status.RULED_OUT, context.plan.if_ordered
    for index, (status, priority) in enumerate(zip(context.statuses, context.plan.rule_priorities, strict=True)):
        if status is fired or status is ruled_out or priority is None:
            continue
        if index not in if_ordered or not waits_for_nobody(index, context):
            yield index, priority


def _waiting(index: int, context: Context) -> Waiting:
    plan = context.plan
    rule = plan.open_rules.of(index, context.statuses[index], context.states)
    return plan.waiting(rule.waits_for, rule.settled_by) or waiting(
        waits_for(index, context), plan.places_of(rule.settled_by)
    )


def _steps(found: Mapping[Where, list[tuple[int, bool]]], context: Context) -> list[Step]:
    by_area: defaultdict[str, list[Open]] = defaultdict(list)
    area_of = context.plan.area_of
    for place, asking in found.items():
        area = area_of.get(place[0])
        by_area[area.area if area else ""].append(_open(place, asking, context))
    order = {area.area: k for k, area in enumerate(context.pack.areas)}
    names = {area.area: area.step for area in context.pack.areas}
    steps = [_made(area, names.get(area, "Record birth facts"), sorted(of_it)) for area, of_it in by_area.items()]
    return sorted(steps, key=lambda s: (PRIORITIES.index(s.worst), -s.rules, order.get(s.area, -1)))


def _made(area: str, label: str, found: list[Open]) -> Step:
    questions = tuple([one.question for one in found])
    return _step(
        area=area,
        label=label,
        worst=questions[0].worst,
        rules=len({rule for question in questions for rule in question.rules}),
        emergencies=len({rule for question in questions for rule in question.emergencies}),
        questions=questions,
    )


def _open(place: Where, asking: list[tuple[int, bool]], context: Context) -> Open:
    (finding, side), question = place, context.plan.questions.of
    reading = None if finding in context.plan.in_parts else context.readings.in_use.get(place)
    if reading is None:
        return question(finding, side, "not examined", None, tuple(asking))
    if reading.possible is None:
        return question(finding, side, "attempted", reading.absent, tuple(asking))
    return question(finding, side, "too loose", reading.given, tuple(asking))
