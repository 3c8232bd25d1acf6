"""Explaining rules for people: which values fired one, and what would decide an open one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layette.engine.answer.laid.labels import label_of
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.words import measure_text, used_value, words
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Used
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, State, evaluate
from layette.engine.logic.program import YES
from layette.engine.pack.written.views import Entry, View

_used = known(Used)


def rule_values(index: int, context: Context) -> tuple[Used, ...]:
    """Return the values that fired rule ``index``, each once, in the order of the rule.

    Chains of conclusions are followed down without recursion: a program stands in the order of dependence, so the
    lowest rules come first.
    """
    known = context.rule_values
    if index not in known and index not in context.plan.on_conclusions:
        known[index] = _fired_values(index, context)
    elif index not in known:
        for number in sorted(_behind(index, context)):
            if number not in known:
                known[number] = _fired_values(number, context)
    return known[index]


def _behind(index: int, context: Context) -> set[int]:
    """Return a rule with all those whose conclusions it rests on."""
    behind, left = {index}, [index]
    while left:
        for test in _holding(left.pop(), context):
            name = context.pack.table.entries[test.var].view.subject
            if test.mask & YES and name in context.plan.states.concluding:
                fresh = {number for number in _concluding(name, context) if number not in behind}
                behind |= fresh
                left += fresh
    return behind


def _concluding(name: str, context: Context) -> Iterator[int]:
    """Yield the rules that hold and conclude ``name``."""
    for number in context.plan.states.concluding.get(name, ()):
        if _holds(_whole(number, context), context.states):
            yield number


def _whole(index: int, context: Context) -> Node:
    rule = context.pack.program.rules[index]
    return AllOf((rule.applies, rule.when))


def _fired_values(index: int, context: Context) -> tuple[Used, ...]:
    """Return the values that make a rule hold, each once; those behind a conclusion are known already."""
    found: dict[str, Used] = {}
    for test in _holding(index, context):
        for used in _values_of(context.pack.table.entries[test.var], test, context):
            found.setdefault(f"{used.subject}|{used.label}|{used.value}|{used.time}", used)
    return tuple(found.values())


def _holding(index: int, context: Context) -> tuple[Among, ...]:
    """Return the tests that make a rule hold, in its order."""
    known = context.holding.get(index)
    if known is None:
        known = context.holding[index] = tuple(_that_hold(_whole(index, context), context.states))
    return known


def _that_hold(node: Node, states: Sequence[State]) -> Iterator[Among]:
    if isinstance(node, Among):
        if states[node.var] & ~node.mask == 0:
            yield node
    elif isinstance(node, AllOf):
        for part in node.parts:
            yield from _that_hold(part, states)
    elif isinstance(node, AnyOf):
        for part in node.parts:
            if _holds(part, states):
                yield from _that_hold(part, states)


def _holds(node: Node, states: Sequence[State]) -> bool:
    """Whether a condition must hold: the one bit of `evaluate` that is asked here, without the other."""
    if isinstance(node, Among):
        return states[node.var] & ~node.mask == 0
    if isinstance(node, AllOf):
        return all(_holds(part, states) for part in node.parts)
    if isinstance(node, AnyOf):
        return any(_holds(part, states) for part in node.parts)
    return evaluate(node, states).must


def _values_of(entry: Entry, test: Among, context: Context) -> Iterator[Used]:
    view, pack = entry.view, context.pack
    if view.subject.startswith("setting:"):
        choice = context.settings[view.subject.removeprefix("setting:")]
        yield _used(subject=view.subject, label=label_of(pack, view), value=choice)
    elif view.subject in pack.measures:
        yield from measure_values(view.subject, context)
    elif view.subject in pack.findings:
        yield from _finding_values(entry, test, context)
    elif view.subject in context.plan.states.concluders:
        yield from _conclusion_values(view.subject, test, context)
    elif context.visit.sex is not None:
        yield _used(subject=view.subject, label="Sex at birth", value=context.visit.sex)


def _conclusion_values(name: str, test: Among, context: Context) -> Iterator[Used]:
    holds = bool(test.mask & YES)
    yield _used(subject=name, label=words(name).capitalize(), value="yes" if holds else "no", note="concluded by rules")
    if holds:
        for number in _concluding(name, context):
            yield from context.rule_values.get(number, ())


def _finding_values(entry: Entry, test: Among, context: Context) -> Iterator[Used]:
    view, pack = entry.view, context.pack
    if view.what == "unequal":
        for side in pack.findings[view.subject].sides or ():
            reading = context.readings.latest(view.subject, side).valued
            if reading:
                yield used_value(reading, context)
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
                yield used_value(reading, context, view)
        return
    chosen = context.facts.chosen(view).valued
    if chosen is not None:
        yield used_value(chosen, context, view if view.what == "value" else None)
    if view.what == "beyond":
        yield from measure_values(view.line, context)


def _event_values(view: View, context: Context) -> Iterator[Used]:
    """Return the events that a test holds for; where none was seen, the latest value."""
    accept = {*view.accept} & {*context.pack.findings[view.subject].event}
    _, possibly = context.readings.within(view.subject, view.side, view.over)
    events = [r for r in possibly if r.here and isinstance(r.possible, frozenset) and r.possible & accept]
    latest = context.readings.latest(view.subject, view.side).valued
    for reading in events or ([latest] if latest is not None else []):
        yield used_value(reading, context)


def measure_values(name: str, context: Context) -> Iterator[Used]:
    """Return a measure for print, then the recordings that it was computed from."""
    shape, result = context.pack.measures[name], context.facts.result(name)
    yield _used(subject=name, label=shape.label, value=measure_text(name, result, context), note=result.basis or None)
    for reading in result.used:
        yield used_value(reading, context)
