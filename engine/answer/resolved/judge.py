"""To judge: a recorded value on which a pressing answer hangs and which the rules cannot judge.

It is never silent. Three things bring it: a value that has no line, table or gestation to be read on; recordings of one
moment that differ, where only some of them press (`worlds.py`); and what the pack itself says is to be judged.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from layette.engine.answer.laid.labels import label_of
from layette.engine.answer.laid.proposals import Place
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.keys import key
from layette.engine.answer.parts.reasons import rule_values
from layette.engine.answer.parts.words import used_value
from layette.engine.answer.resolved.doubtful import ASAP, Doubt
from layette.engine.answer.resolved.grounds import Ground
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import ToJudge, Used
from layette.engine.logic.conditions import AllOf, Status, evaluate, variables
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.views import View
from layette.engine.pack.written.written import Instance
from layette.engine.states import lines
from layette.engine.terms import PRIORITIES
from layette.engine.visit.visit import Recorded

ON_YOUR_CHART = "Read it on the chart of your unit before they leave, and record how it was judged and by whom."
FROM_MEMORY = "The rule is from memory and not acted on here: decide before they leave, and record how and by whom."


_judge = known(ToJudge)


def to_judge(doubts: Sequence[Doubt], judged: Sequence[Ground], context: Context) -> Iterator[ToJudge]:
    """Yield what is to be judged, the most pressing first.

    Args:
        doubts: what only some of the possible worlds bring.
        judged: the reasons of rules that say themselves that a value is to be judged.
        context: the visit.
    """
    told = [
        *(_of_doubt(doubt, context) for doubt in doubts if not _judged(doubt.about.readings, context)),
        *_of_rules(judged, context),
    ]
    unread = [item for item in _without_line(context) if not _is_told(item, told)]
    replaced = _replaced(context) if unread else {}
    items = [*told, *(item for item in unread if not _is_replaced(item, replaced))]
    yield from sorted(items, key=lambda item: (PRIORITIES.index(item.priority), item.target, item.side or "", item.why))


def _is_told(item: ToJudge, told: Sequence[ToJudge]) -> bool:
    """Whether it is said already of what was recorded then that as pressing a thing is to be judged."""
    rank, values = PRIORITIES.index(item.priority), {(used.subject, used.time) for used in item.values}
    return any(
        one.target == item.target
        and PRIORITIES.index(one.priority) <= rank
        and values <= {(used.subject, used.time) for used in one.values}
        for one in told
    )


def _replaced(context: Context) -> Mapping[tuple[str, str | None], int]:
    """Return what judge rules would name that hold and are replaced: target and finding, with the highest rank.

    The pack says under `unless` what makes a value read, such as a line from a chart of the unit.
    """
    found: dict[tuple[str, str | None], int] = {}
    for number in context.plan.judging:
        rule, instance = context.pack.program.rules[number], context.pack.instances[number]
        own = AllOf((rule.applies, rule.when))
        if context.statuses[number] is Status.RULED_OUT and evaluate(own, context.states).must:
            subject = _value_judged(instance, context)
            for one in context.plan.proposals[number]:
                place = (one.target, subject)
                found[place] = min(one.rank, found.get(place, one.rank))
    return found


def _is_replaced(item: ToJudge, replaced: Mapping[tuple[str, str | None], int]) -> bool:
    rank = PRIORITIES.index(item.priority)
    return any(replaced.get((item.target, used.subject), rank + 1) <= rank for used in item.values)


def _of_doubt(doubt: Doubt, context: Context) -> ToJudge:
    ground, about = doubt.ground, doubt.about
    recorded = tuple(dict.fromkeys(used_value(reading, context) for reading in about.readings))
    values = recorded or rule_values(ground.number, ground.world or context)
    return _item(ground, context, values, about.why, about.settles)


def _of_rules(judged: Sequence[Ground], context: Context) -> Iterator[ToJudge]:
    """Yield one item for each place of which rules say that a value is to be judged, with all their reasons.

    A reason that hangs on what is still open adds nothing beside one that is certain and presses as much.
    """
    by_place: dict[Place, list[Ground]] = {}
    for ground in sorted(judged, key=lambda ground: ground.order):
        if not _settled(ground, context):
            by_place.setdefault(ground.proposal.place, []).append(ground)
    for grounds in by_place.values():
        certain = [ground for ground in grounds if ground.status is Status.FIRED]
        yield _of_rule(certain if certain and certain[0].rank == grounds[0].rank else grounds, context)


def _of_rule(grounds: Sequence[Ground], context: Context) -> ToJudge:
    shapes = [ground.instance.rule.shape for ground in grounds]
    values = [used for ground in grounds for used in _values_judged(ground, context)]
    lead = FROM_MEMORY if all(ground.instance.rule.judged for ground in grounds) else ON_YOUR_CHART
    settles = [lead, *(line for ground in grounds for line in ground.proposal.consequence.do)]
    first = grounds[0].proposal
    return _made(
        context,
        first.target,
        first.side,
        grounds[0].rank,
        tuple(dict.fromkeys(values)),
        " ".join(dict.fromkeys(shape.because for shape in shapes)),
        " ".join(dict.fromkeys(settles)),
        tuple(dict.fromkeys(shape.id for shape in shapes)),
    )


def _settled(ground: Ground, context: Context) -> bool:
    """Whether somebody has judged the value that a rule is about; the rest of its condition is why.

    A rule that names no finding (it asks of a measure or a conclusion) is about all values behind it that were seen at
    this visit: each is judged, or what they could bring is, by the time of the newest.
    """
    subject = _value_judged(ground.instance, context)
    readings = [*(_behind(ground, context) if subject is None else _read(ground, context, subject))]
    if not readings:
        return False
    newest = max(readings, key=lambda reading: reading.time.lo)
    about = [newest] if subject else readings
    _, target, side = ground.proposal.place
    return all(_judged([one], context) for one in about) or context.visit.judged_since(newest, target, side)


def _read(ground: Ground, context: Context, subject: str) -> Iterator[Recorded]:
    """Yield the values of one finding that a rule reads."""
    world = ground.world or context
    rule, table = context.pack.program.rules[ground.number], context.pack.table
    for var in variables(AllOf((rule.applies, rule.when))):
        view = table.entries[var].view
        reading = world.facts.chosen(view).valued if view.subject == subject else None
        if reading is not None:
            yield reading


def _behind(ground: Ground, context: Context) -> list[Recorded]:
    """Return the recordings behind the values that make a rule hold; facts that carry over only where that is all."""
    world = ground.world or context
    shown = {(used.subject, used.time) for used in rule_values(ground.number, world)}
    found = [reading for reading in world.visit.readings if (reading.finding, reading.time.text) in shown]
    return [one for one in found if not context.pack.findings[one.finding].carries_over] or found


def _values_judged(ground: Ground, context: Context) -> Iterator[Used]:
    """Yield the value that a rule has judged, and the lines that it is read on; the rest of its condition is why."""
    subject, told = _value_judged(ground.instance, context), set()
    for used in rule_values(ground.number, ground.world or context):
        shown = (used.subject, used.value, used.time)
        line = used.subject in context.pack.measures
        if (used.subject == subject or line or subject is None) and shown not in told:
            told.add(shown)
            yield used


def _value_judged(instance: Instance, context: Context) -> str | None:
    """Return the finding whose value a rule has judged: the first that its `when` names."""
    names = (key.split(".")[0] for key in keys_in(instance.rule.shape.when))
    return next((name for name in names if name in context.pack.findings), None)


def _item(ground: Ground, context: Context, values: tuple[Used, ...], why: str, settles: str) -> ToJudge:
    proposal = ground.proposal
    return _made(
        context, proposal.target, proposal.side, proposal.rank, values, why, settles, (ground.instance.rule.shape.id,)
    )


def _without_line(context: Context) -> Iterator[ToJudge]:
    """Yield each recorded value that a pressing rule cannot read for want of a line, a table or a gestation."""
    by_value: dict[tuple[str, str, int], list[tuple[int, Recorded, str]]] = {}
    for index in context.plan.read_on_lines:
        status = context.statuses[index]
        if status is not Status.UNDECIDED:
            continue
        for var in context.plan.open_rules.of(index, status, context.states).waits_for:
            view = context.pack.table.entries[var].view
            lacking = _lacking(view, context)
            if lacking is None or _judged(lacking[:1], context):
                continue
            reading, why = lacking
            if _fires_alone(index, var, context):
                by_value.setdefault((reading.finding, reading.side, reading.time.lo), []).append((index, reading, why))
    for found in by_value.values():
        yield _value_without_line(found, context)


def _judged(readings: Sequence[Recorded], context: Context) -> bool:
    """Whether somebody has judged every one of these very recordings."""
    return bool(readings) and all(context.visit.judged_since(reading) for reading in readings)


def _lacking(view: View, context: Context) -> tuple[Recorded, str] | None:
    """Return the recorded value that a view cannot judge, and why.

    None where a line holds or nothing is recorded, where the value lies far below every line that this newborn may
    have, and on a one-way line: what a value near or above it asks for, the pack itself says.
    """
    if view.what != "beyond":
        return None
    value = context.facts.chosen(view).valued
    line = context.facts.result(view.line)
    if value is None or (line.interval.span()[0] is not None and not line.why_not):
        return None
    if line.why_not:
        return value, line.why_not
    missing = lines.not_recorded(context.facts, view)
    if lines.is_one_way(context.facts, view) or not lines.may_be_near(context.facts, view):
        return None
    why = f"{label_of(context.pack, View(missing))} is not recorded, and so near a line it decides" if missing else ""
    return value, f"{why or 'No line covers this newborn'} ({line.basis or view.line.replace('_', ' ')})."


def _fires_alone(index: int, var: int, context: Context) -> bool:
    """Whether one value of an open variable alone would make the rule hold."""
    rule = context.pack.program.rules[index]
    states = list(context.states)
    for atom in range(states[var].bit_length()):
        if context.states[var] >> atom & 1:
            states[var] = 1 << atom
            if evaluate(AllOf((rule.applies, rule.when)), states).must:
                return True
    return False


def _value_without_line(found: Sequence[tuple[int, Recorded, str]], context: Context) -> ToJudge:
    rules = [index for index, _, _ in found]
    proposals = [p for index in rules for p in context.plan.proposals[index] if p.rank <= ASAP]
    first = min(proposals, key=lambda p: (p.rank, p.verb == "recheck", p.target))
    _, reading, why = found[0]
    names = tuple(dict.fromkeys(context.pack.instances[index].rule.shape.id for index in rules))
    values = (used_value(reading, context),)
    text = why if why.endswith(".") else f"{why[:1].upper()}{why[1:]}."
    return _made(context, first.target, first.side, first.rank, values, text, ON_YOUR_CHART, names)


def _made(
    context: Context,
    target: str,
    side: str,
    rank: int,
    values: tuple[Used, ...],
    why: str,
    settles: str,
    rules: tuple[str, ...],
) -> ToJudge:
    shape = context.pack.targets[target]
    told = [*dict.fromkeys((used.subject, used.value, used.time) for used in values)]
    request = key("judge", context.who, target, side, told)
    return _judge(
        target=target,
        kind=shape.kind,
        label=shape.label,
        subject=shape.subject,
        side=side or None,
        priority=PRIORITIES[rank],
        values=values,
        why=why,
        settles=settles,
        rules=rules,
        request_key=request,
        answer_key=key("answer", request, PRIORITIES[rank]),
    )
