"""What is still open: findings that would settle something, by step of the examination."""

from __future__ import annotations

from dataclasses import dataclass, field

from layette.engine.answer.parts.asked import waits_for
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.plan import WantedInput
from layette.engine.answer.parts.unordered import waits_for_nobody
from layette.engine.answer.shapes.detail import NotEvaluated, Question, Step
from layette.engine.logic.conditions import Status
from layette.engine.terms import PRIORITIES, Priority

SEX_LABEL = "Sex at birth"


@dataclass
class _Open:
    """What is gathered for one finding."""

    rules: dict[str, Priority] = field(default_factory=dict)
    settles: dict[str, None] = field(default_factory=dict)


@dataclass(frozen=True)
class Outstanding:
    """Everything that is open at a visit."""

    steps: tuple[Step, ...]
    not_evaluated: tuple[NotEvaluated, ...]
    notices: tuple[str, ...]


def outstanding(context: Context) -> Outstanding:
    """Gather what the undecided and provisional rules still wait for."""
    open_findings: dict[tuple[str, str], _Open] = {}
    not_evaluated: list[NotEvaluated] = []
    history: dict[str, None] = {}
    fired, ruled_out = Status.FIRED, Status.RULED_OUT
    for index, status in enumerate(context.statuses):
        if status is fired or status is ruled_out or waits_for_nobody(index, context):
            continue
        shape = context.pack.instances[index].rule.shape
        asked = waits_for(index, context)
        priority = context.plan.rule_priorities[index]
        if priority is None:
            continue
        why = next((context.facts.result(a.finding).why_not for a in asked if a.kind == "supplied"), None)
        if why is not None:
            not_evaluated.append(
                NotEvaluated(rule=shape.id, title=shape.title, why=f"cannot evaluate: {why}", priority=priority)
            )
        _gather(context, index, asked, priority, open_findings, history)
    notices = (f"no earlier visit on record for: {'; '.join(history)}",) if history else ()
    return Outstanding(tuple(_steps(open_findings, context)), tuple(_once(not_evaluated)), notices)


def _once(found: list[NotEvaluated]) -> list[NotEvaluated]:
    return list(dict.fromkeys(found))


def _gather(
    context: Context,
    index: int,
    asked: tuple[WantedInput, ...],
    priority: Priority,
    found: dict[tuple[str, str], _Open],
    history: dict[str, None],
) -> None:
    key = context.pack.instances[index].key
    settled_by = context.plan.open_rules.of(index, context.statuses[index], context.states).settled_by
    alone = context.plan.places_of(settled_by)
    for finding, side, kind in asked:
        if kind == "history":
            history.setdefault(context.plan.label(finding, side))
        if kind != "finding" and kind != "sex":
            continue
        place = (finding, side)
        entry = found.get(place)
        if entry is None:
            entry = found[place] = _Open()
        entry.rules[key] = priority
        if place in alone:
            entry.settles[key] = None


def _steps(found: dict[tuple[str, str], _Open], context: Context) -> list[Step]:
    by_area: dict[str, list[Question]] = {}
    for (finding, side), entry in found.items():
        area = context.plan.area_of.get(finding)
        by_area.setdefault(area.area if area else "", []).append(_question(finding, side, entry, context))
    emergencies = {rule for entry in found.values() for rule, priority in entry.rules.items() if priority == "stat"}
    order = {area.area: k for k, area in enumerate(context.pack.areas)}
    names = {area.area: area.step for area in context.pack.areas}
    steps = []
    for area_name, questions in by_area.items():
        rules = {rule for q in questions for rule in q.rules}
        stat = rules & emergencies
        questions.sort(key=lambda q: (PRIORITIES.index(q.worst), -len(q.rules), q.finding, q.side or ""))
        steps.append(
            Step(
                area=area_name,
                label=names.get(area_name, "Record birth facts"),
                worst=questions[0].worst,
                rules=len(rules),
                emergencies=len(stat),
                questions=tuple(questions),
            )
        )
    return sorted(steps, key=lambda s: (PRIORITIES.index(s.worst), -s.rules, order.get(s.area, -1)))


def _question(finding: str, side: str, entry: _Open, context: Context) -> Question:
    worst = PRIORITIES[min(PRIORITIES.index(p) for p in entry.rules.values())]
    if finding not in context.pack.findings:
        label, reading = SEX_LABEL, None
    else:
        label = context.plan.label(finding, side)
        shape = context.pack.findings[finding]
        reading = None if shape.readings else context.readings.latest(finding, side).used
    state, reason = "not examined", None
    if reading is not None:
        state, reason = ("too loose", reading.given) if reading.possible is not None else ("attempted", reading.absent)
    return Question(
        finding=finding,
        side=side or None,
        label=label,
        state=state,  # type: ignore[arg-type]
        reason=reason,
        rules=tuple(sorted(entry.rules)),
        settles=tuple(sorted(entry.settles)),
        emergencies=tuple(sorted(rule for rule, priority in entry.rules.items() if priority == "stat")),
        worst=worst,
    )
