"""Explaining rules for people: which values fired one, and what would decide an open one."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.answer.parts.assessment import Used
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.words import label_of, measure_text, used_value, words
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, evaluate
from layette.engine.pack.written.views import Entry, View


def rule_values(index: int, context: Context) -> tuple[Used, ...]:
    """Return the values that fired rule ``index``, each once, in the order of the rule."""
    if index not in context.rule_values:
        rule = context.pack.program.rules[index]
        context.rule_values[index] = fired_values(AllOf((rule.applies, rule.when)), context)
    return context.rule_values[index]


def fired_values(node: Node, context: Context) -> tuple[Used, ...]:
    """Return the values that make ``node`` hold, each once, in the order of the condition."""
    found: dict[str, Used] = {}
    for test in _holding(node, context):
        for used in _values_of(context.pack.table.entries[test.var], test, context):
            found.setdefault(f"{used.subject}|{used.label}|{used.value}|{used.time}", used)
    return tuple(found.values())


def _holding(node: Node, context: Context) -> Iterator[Among]:
    if isinstance(node, Among):
        if evaluate(node, context.states).must:
            yield node
    elif isinstance(node, AllOf | AnyOf):
        for part in node.parts:
            if isinstance(node, AllOf) or evaluate(part, context.states).must:
                yield from _holding(part, context)


def _values_of(entry: Entry, test: Among, context: Context) -> Iterator[Used]:
    view, pack = entry.view, context.pack
    if view.subject.startswith("setting:"):
        choice = context.settings[view.subject.removeprefix("setting:")]
        yield Used(subject=view.subject, label=label_of(pack, view), value=choice)
    elif view.subject in pack.measures:
        yield from measure_values(view.subject, context)
    elif view.subject in pack.findings:
        yield from _finding_values(entry, test, context)
    elif view.subject in context.plan.states.concluders:
        yield from _conclusion_values(view.subject, test, context)
    elif context.visit.sex is not None:
        yield Used(subject=view.subject, label="Sex at birth", value=context.visit.sex)


def _conclusion_values(name: str, test: Among, context: Context) -> Iterator[Used]:
    holds = bool(test.mask & 2)
    yield Used(subject=name, label=words(name).capitalize(), value="yes" if holds else "no", note="concluded by rules")
    if holds:
        for rule in context.plan.states.concluders[name]:
            if evaluate(rule.applies, context.states).must and evaluate(rule.when, context.states).must:
                yield from fired_values(AllOf((rule.applies, rule.when)), context)


def _finding_values(entry: Entry, test: Among, context: Context) -> Iterator[Used]:
    view, pack = entry.view, context.pack
    if view.what == "unequal":
        for side in pack.findings[view.subject].sides or ():
            reading = context.readings.latest(view.subject, side).valued
            if reading:
                yield used_value(reading, pack)
        return
    if view.pick == "event":
        yield from _event_values(view, context)
        return
    if view.what == "among" or (view.pick in ("highest", "lowest") and view.what == "value"):
        _, possibly = context.readings.within(view.subject, view.side, view.over)
        for reading in possibly:
            if view.what != "among" or (
                isinstance(reading.possible, frozenset) and reading.possible & set(view.accept)
            ):
                yield used_value(reading, pack, view)
        return
    chosen = context.facts.chosen(view).valued
    if chosen is not None:
        yield used_value(chosen, pack, view if view.what == "value" else None)
    if view.what == "beyond":
        yield from measure_values(view.line, context)


def _event_values(view: View, context: Context) -> Iterator[Used]:
    """Return the events that a test holds for; where none was seen, the latest value."""
    accept = {*view.accept} & {*context.pack.findings[view.subject].event}
    _, possibly = context.readings.within(view.subject, view.side, view.over)
    events = [r for r in possibly if r.here and isinstance(r.possible, frozenset) and r.possible & accept]
    latest = context.readings.latest(view.subject, view.side).valued
    for reading in events or ([latest] if latest is not None else []):
        yield used_value(reading, context.pack)


def measure_values(name: str, context: Context) -> Iterator[Used]:
    """Return a measure for print, then the recordings that it was computed from."""
    shape, result = context.pack.measures[name], context.facts.result(name)
    yield Used(subject=name, label=shape.label, value=measure_text(name, result, context), note=result.basis or None)
    for reading in result.used:
        yield used_value(reading, context.pack)
