"""What is still open: findings that would settle something, by step of the examination, and things due by an age."""

from __future__ import annotations

from dataclasses import dataclass, field

from .assessment import PRIORITIES, Due, NotEvaluated, Priority, Question, Step
from .conditions import Status
from .decide import Decision
from .explain import Asked, label_of, sought
from .facts import Facts
from .model import RuleShape
from .references import listed
from .times import within_ages
from .views import View
from .visit import Recorded
from .windows import Real, window_for

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
    unsettled: dict[int, tuple[Asked, ...]]
    not_evaluated: tuple[NotEvaluated, ...]
    notices: tuple[str, ...]


def outstanding(decision: Decision) -> Outstanding:
    """Gather what the undecided and provisional rules still wait for."""
    facts = decision.facts
    open_findings: dict[tuple[str, str], _Open] = {}
    unsettled: dict[int, tuple[Asked, ...]] = {}
    not_evaluated: list[NotEvaluated] = []
    history: dict[str, None] = {}
    for index, status in enumerate(decision.statuses):
        if status in (Status.FIRED, Status.RULED_OUT):
            continue
        shape = facts.pack.instances[index].rule.shape
        waiting = facts.pack.open_rules.of(index, status, facts.states)
        asked = tuple(dict.fromkeys(a for var in waiting.waits_for for a in sought(var, facts)))
        unsettled[index] = asked
        priority = facts.pack.rule_priorities[index]
        if priority is None:
            continue
        why = next((facts.result(a.finding).why_not for a in asked if a.kind == "supplied"), None)
        if why is not None:
            not_evaluated.append(
                NotEvaluated(rule=shape.id, title=shape.title, why=f"cannot evaluate: {why}", priority=priority)
            )
        _gather(decision, index, asked, priority, open_findings, history)
    notices = (f"no earlier visit on record for: {'; '.join(history)}",) if history else ()
    return Outstanding(tuple(_steps(open_findings, facts)), unsettled, tuple(_once(not_evaluated)), notices)


def _once(found: list[NotEvaluated]) -> list[NotEvaluated]:
    return list(dict.fromkeys(found))


def _gather(
    decision: Decision,
    index: int,
    asked: tuple[Asked, ...],
    priority: Priority,
    found: dict[tuple[str, str], _Open],
    history: dict[str, None],
) -> None:
    facts = decision.facts
    key = facts.pack.instances[index].key
    entries = facts.pack.table.entries
    settled_by = facts.pack.open_rules.of(index, decision.statuses[index], facts.states).settled_by
    alone = {(entries[var].view.subject, entries[var].view.side) for var in settled_by}
    for item in asked:
        if item.kind == "history":
            history.setdefault(label_of(facts.pack, View(item.finding, item.side)))
        if item.kind not in ("finding", "sex"):
            continue
        entry = found.setdefault((item.finding, item.side), _Open())
        entry.rules[key] = priority
        if (item.finding, item.side) in alone:
            entry.settles.setdefault(key)


def _steps(found: dict[tuple[str, str], _Open], facts: Facts) -> list[Step]:
    by_area: dict[str, list[Question]] = {}
    for (finding, side), entry in found.items():
        area = facts.pack.area_of.get(finding)
        by_area.setdefault(area.area if area else "", []).append(_question(finding, side, entry, facts))
    emergencies = {rule for entry in found.values() for rule, priority in entry.rules.items() if priority == "stat"}
    order = {area.area: k for k, area in enumerate(facts.pack.areas)}
    names = {area.area: area.step for area in facts.pack.areas}
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


def _question(finding: str, side: str, entry: _Open, facts: Facts) -> Question:
    worst = PRIORITIES[min(PRIORITIES.index(p) for p in entry.rules.values())]
    if finding not in facts.pack.findings:
        label, reading = SEX_LABEL, None
    else:
        label = label_of(facts.pack, View(finding, side))
        shape = facts.pack.findings[finding]
        reading = None if shape.readings else facts.readings.latest(finding, side).used
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


def wanted_now(items: list[tuple[int, Due, Real]]) -> dict[int, Real]:
    """Return the windows of the due rules that are wanted at this visit, by rule number."""
    return {index: window for index, item, window in items if item.state != "later"}


def due_items(decision: Decision) -> list[tuple[int, Due, Real]]:
    """Return what is wanted by an age and not on record: rule number, the item, its window."""
    facts = decision.facts
    out = []
    for index in facts.pack.due_rules:
        instance = facts.pack.instances[index]
        shape = instance.rule.shape
        if decision.statuses[index] not in (Status.FIRED, Status.PROVISIONAL) or _on_record(shape, facts):
            continue
        proposal = facts.pack.proposals[index][0]
        window = window_for(proposal, instance.side, facts)
        at = facts.visit.at.lo
        later = window.start is not None and window.start > at and not window.overdue
        item = Due(
            finding=listed(shape.due)[0],
            label=" or ".join(facts.pack.findings[name].label for name in listed(shape.due)),
            rule=shape.id,
            window=window.shown(facts),
            state="later" if later else ("overdue" if window.overdue else "due"),
            priority=proposal.priority,
            because=shape.because,
            sources=facts.pack.citations(tuple(listed(shape.source))),
        )
        out.append((index, item, window))
    return out


def _on_record(shape: RuleShape, facts: Facts) -> bool:
    """Whether one of the findings is recorded on every side that applies, as `where` asks, or none applies."""
    found = [_recorded(name, shape, facts) for name in listed(shape.due)]
    return True in found or all(one is None for one in found)


def _recorded(name: str, shape: RuleShape, facts: Facts) -> bool | None:
    """Whether a finding is on record; None where it does not apply."""
    finding = facts.pack.findings[name]
    if finding.readings:
        return any(_counts(r, shape, facts) for attempt in facts.readings.attempts(name) for r in attempt.values())
    sides = [s for s in finding.sides or ("",) if not _does_not_apply(name, s, facts)]
    if not sides:
        return None
    return all(any(_counts(r, shape, facts) for r in facts.readings.all(name, side)) for side in sides)


def _does_not_apply(finding: str, side: str, facts: Facts) -> bool:
    used = facts.readings.latest(finding, side).used
    return used is not None and used.absent == "not-applicable"


def _counts(reading: Recorded, shape: RuleShape, facts: Facts) -> bool:
    if reading.possible is None or not (reading.here or facts.pack.findings[reading.finding].carries_over):
        return False
    bounds = (shape.where or {}).get("age", {})
    low, high = reading.time.lo - facts.visit.born.hi, reading.time.hi - facts.visit.born.lo
    return within_ages(bounds, low, high)
