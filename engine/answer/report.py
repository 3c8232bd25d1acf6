"""The rest of the answer: how far targets are settled, measures, conclusions, what was used and why, the trace."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Literal

from layette.engine.answer.laid.labels import label_of
from layette.engine.answer.outstanding import Outstanding
from layette.engine.answer.parts.asked import asked_words, waits_for
from layette.engine.answer.parts.assessment import Compared, Measured
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.reasons import rule_values
from layette.engine.answer.parts.unordered import waits_for_nobody
from layette.engine.answer.parts.words import measure_numbers, measure_text, used_value
from layette.engine.answer.resolved.orders import LIVE, in_force, placed_after
from layette.engine.answer.shapes.detail import Answer, Choice, Concluded, NotEvaluated, Traced
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Recommendation
from layette.engine.logic.conditions import Status, evaluate, tests
from layette.engine.logic.program import NO, YES
from layette.engine.measures.growth import AT_TERM
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.pack.written.views import View
from layette.engine.states.inputs import in_unit
from layette.engine.visit.recordings import Chosen

REGISTERED = "registered"

_measured = known(Measured)
_concluded = known(Concluded)


def answers(context: Context) -> Iterable[Answer]:
    """Yield how far each target is settled."""
    statuses = context.statuses
    nobody = {index for index in context.plan.if_ordered if waits_for_nobody(index, context)}
    for (verb, target, side), leads in context.plan.reported.answer_places.items():
        fired = min((rank for index, rank in leads if statuses[index] is Status.FIRED), default=None)
        open_too = min((rank for index, rank in leads if statuses[index] is not Status.RULED_OUT), default=None)
        if open_too is not None and open_too != fired:
            asked = [rank for index, rank in leads if statuses[index] is not Status.RULED_OUT and index not in nobody]
            open_too = min(asked, default=None)
        yield context.plan.reported.answer(verb, target, side, fired, open_too)


def not_evaluated(context: Context, still_open: Outstanding) -> tuple[NotEvaluated, ...]:
    """Return the rules that could not be read at all, each with why."""
    return (*still_open.not_evaluated, *under_another_set(context))


def under_another_set(context: Context) -> Iterable[NotEvaluated]:
    """Yield the rules of one issuer that are not read on another issuer's lines."""
    settings = context.settings
    unread = [one for one in context.plan.of_a_set if settings[one.setting] not in one.choices]
    if unread and any(context.readings.latest_values(name) for name in _threshold_findings(context)):
        for shape, setting, _ in unread:
            chosen = context.pack.settings[setting].choices[settings[setting]].label
            why = f"not evaluated under this set: {chosen} is another issuer's"
            yield NotEvaluated(rule=shape.id, title=shape.title, why=why, priority=None)


def _threshold_findings(context: Context) -> Iterable[str]:
    for shape in context.pack.measures.values():
        if shape.compute == "threshold":
            yield str((shape.model_extra or {})["of"])


def set_notices(context: Context) -> Iterable[str]:
    """Yield whose treatment lines are in use."""
    pack = context.pack
    for name in context.plan.set_names:
        shape, choice = pack.settings[name], context.settings[name]
        table = pack.tables.get(choice)
        issuer = f", issuer {table.issuer}" if isinstance(table, ThresholdSet) else ", table not supplied"
        others = [c.label for slug, c in shape.choices.items() if slug not in pack.tables]
        missing = f"; not supplied at this site: {', '.join(others)}" if others else ""
        yield f"{shape.label}: {shape.choices[choice].label}{issuer}{missing}"


def conflicts(made: Sequence[Recommendation], context: Context) -> Iterable[str]:
    """Yield the pairs that the pack says exclude each other, each once: a person decides between them.

    Both are proposed, or one is while the other is ordered already.
    """
    targets = context.pack.targets
    proposed = {one.target: one for one in made}
    ordered = {order.target for order in in_force(context) if order.status in LIVE}
    for name, other in context.plan.conflicting:
        one, two = proposed.get(name), proposed.get(other)
        if one and two:
            rules = f"{one.reasons[0].rule}, {two.reasons[0].rule}"
            yield f"'{one.label}' and '{two.label}' exclude each other: decide which ({rules})"
            continue
        new = one or two
        there = other if new is one else name
        if new and there in ordered:
            placed = f"'{targets[there].label}', which is ordered already,"
            yield f"'{new.label}' and {placed} exclude each other: decide which ({new.reasons[0].rule})"


def measures(context: Context, names: Iterable[str]) -> Iterable[Measured]:
    """Yield those of the measures that are shown and known, or known not to be computable."""
    pack = context.pack
    for name in names:
        shape, result = pack.measures[name], context.facts.result(name)
        if not shape.show or not (result.known or (result.why_not and result.used)):
            continue
        if shape.term_only and _born_early(shape.term_only, context):
            continue
        low, high = measure_numbers(name, result.span, context)
        yield _measured(
            id=name,
            label=shape.label,
            text=result.why_not or measure_text(name, result, context),
            low=low,
            high=high,
            category=result.categories[0] if result.categories and len(result.categories) == 1 else None,
            unit=result.unit or None,
            codes=context.plan.measure_codes[name],
            derived_from=tuple(used_value(r, context) for r in result.used),
            basis=result.basis,
            source=context.plan.citations((shape.source,))[0] if shape.source else None,
            time=result.time.text if result.time else None,
            headline=shape.headline,
        )


def _born_early(gestation: str, context: Context) -> bool:
    """Whether the baby was surely born before 37 weeks."""
    value = context.facts.number(gestation)
    most = None if value is None else in_unit(value, "d").span()[1]
    return most is not None and most < AT_TERM


def conclusions(context: Context) -> Iterable[Concluded]:
    """Yield what the rules concluded, and which rules."""
    for var in context.pack.program.conclusions:
        name = context.pack.table.entries[var].view.subject
        state = context.states[var]
        word: Literal["yes", "no", "open"] = "yes" if state == YES else ("no" if state == NO else "open")
        rules = tuple(rule.id for rule in context.plan.states.concluders[name])
        fired = tuple(
            context.pack.instances[index].key
            for index in context.plan.states.concluding[name]
            if context.statuses[index] is Status.FIRED
        )
        named = fired or (rules if word == "open" else ())
        yield _concluded(id=name, label=name.replace("_", " "), state=word, rules=named)


def choices(context: Context) -> Iterable[Choice]:
    """Yield where one of several recordings was used, and why."""
    for finding, side in context.readings.by_place:
        for label, chosen in _chosen(finding, side, context):
            if chosen.left or chosen.members:
                yield Choice(
                    subject=label,
                    used=used_value(chosen.used, context) if chosen.used else None,
                    not_used=tuple(used_value(r, context) for r in chosen.left),
                    why=chosen.why,
                )


def _chosen(finding: str, side: str, context: Context) -> Iterator[tuple[str, Chosen]]:
    """Yield what a finding is called and what counts of it; of one read in parts, each part that was doubled."""
    if not context.pack.findings[finding].readings:
        yield label_of(context.pack, View(finding, side)), context.readings.latest(finding, side)
        return
    for chosen in context.readings.parts_joined(finding):
        yield label_of(context.pack, View(finding, part=chosen.members[0].part)), chosen


def compared(context: Context) -> Iterable[Compared]:
    """A recheck that was done stands beside the value that asked for it."""
    for finding, side in context.readings.repeated:
        shape = context.pack.findings[finding]
        now, before = context.readings.latest(finding, side).valued, context.readings.earlier(finding, side).valued
        if shape.readings or now is None or before is None or not now.here:
            continue
        yield Compared(
            finding=finding,
            label=label_of(context.pack, View(finding, side)),
            earlier=used_value(before, context),
            now=used_value(now, context),
            changed=now.possible != before.possible,
        )


def reading_warnings(context: Context) -> Iterable[str]:
    """Yield what is odd about the recordings of one finding."""
    for (finding, side), listed in context.readings.by_place.items():
        if len(listed) == 1 and listed[0].status != REGISTERED:
            continue
        shape = context.pack.findings[finding]
        if shape.readings:
            attempts = len(context.readings.attempts(finding))
            if attempts > shape.readings.at_most:
                yield f"{shape.label}: {attempts} attempts; only the first {shape.readings.at_most} count"
        for label, chosen in _chosen(finding, side, context):
            if chosen.differ:
                yield f"{label}: recorded more than once at one time, differing: one of these"
        if any(r.status == REGISTERED and r.possible is not None for r in context.readings.all(finding, side)):
            label = label_of(context.pack, View(finding, side))
            yield f"{label}: registered, though it has a value: it counts as preliminary"


def not_applying(context: Context) -> Iterable[str]:
    """Yield what was recorded by itself at this visit and does not apply, by what else is known, such as the sex."""
    table, guards = context.pack.table, context.pack.guards
    for (finding, side), listed in context.readings.by_place.items():
        guard = guards.get(finding)
        given = [
            one.given.replace("_", " ")
            for one in listed
            if one.here and one.possible is not None and not one.spread_from
        ]
        if guard is None or not given or evaluate(guard, context.states).may:
            continue
        by = sorted({label_of(context.pack, table.entries[test.var].view) for test in tests(guard)})
        label = label_of(context.pack, View(finding, side))
        known = f"it does not apply, by what is known of {', '.join(by)}"
        yield f"{label}: recorded ({', '.join(given)}), and not used: {known}"


def judgments(context: Context) -> Iterable[str]:
    """Yield how somebody read a value that was to be judged, and who."""
    for judged in context.visit.judged:
        if judged.name in context.pack.findings:
            label = label_of(context.pack, View(judged.name, judged.side))
        else:
            target = context.pack.targets.get(judged.name)
            label = target.label if target else judged.name
        when = f" at {judged.time.text}" if judged.time else ""
        yield f"{label} of {judged.of.text}: judged by {judged.by}{when}: {judged.outcome}"


def late_orders(context: Context) -> Iterable[str]:
    """Yield the orders that are dated after the visit, and so are not used."""
    for order in context.visit.orders:
        if placed_after(order, context):
            when = order.time.text if order.time else ""
            yield f"an order for {order.target} is dated {when}, after this visit: it is kept and not used"


def trace(context: Context, numbers: Iterable[int]) -> Iterable[Traced]:
    """Yield what became of the rules with these numbers."""
    pack = context.pack
    for index in numbers:
        status = context.statuses[index]
        if status is Status.RULED_OUT:
            yield context.plan.reported.ruled_out(index, not_applicable=context.not_applicable(index))
            continue
        instance = pack.instances[index]
        asked = waits_for(index, context)
        yield Traced(
            rule=instance.key,
            title=instance.rule.shape.title,
            place=instance.rule.place,
            status=status.value,
            values=() if status is Status.UNDECIDED else rule_values(index, context),
            open=tuple(asked_words(a, context) for a in asked),
            settled_by=_settled_by(index, status, context),
            may_stay_undecided=instance.key in pack.compiled.inexact,
        )


def _settled_by(index: int, status: Status, context: Context) -> tuple[str, ...]:
    """Return what can settle an open rule with one value, as labels."""
    if status is not Status.UNDECIDED and status is not Status.PROVISIONAL:
        return ()
    entries = context.pack.table.entries
    alone = context.plan.open_rules.of(index, status, context.states).settled_by
    return tuple(dict.fromkeys(label_of(context.pack, entries[var].view) for var in sorted(alone)))
