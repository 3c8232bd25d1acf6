"""Explaining rules for people: which values fired one, and what would decide an open one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from layette.engine.answer.assessment import Used
from layette.engine.exact.ranges import Range, show_range
from layette.engine.exact.units import convert, plain
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, evaluate, residual, tests
from layette.engine.pack.written.subjects import inputs_of
from layette.engine.pack.written.views import Entry, View, cell
from layette.engine.states.inputs import Result
from layette.engine.visit.visit import Recorded

if TYPE_CHECKING:
    from layette.engine.api import Pack
    from layette.engine.states.facts import Facts


@dataclass(frozen=True, slots=True)
class Asked:
    """A finding that an open rule still waits for: ``kind`` is finding, history, sex, time or supplied."""

    finding: str
    side: str
    kind: str


def label_of(pack: Pack, view: View) -> str:
    """Say what a view looks at."""
    name = view.subject
    if name.startswith("setting:"):
        return pack.settings[name.removeprefix("setting:")].label
    if name in pack.findings:
        text = pack.findings[name].label
    elif name in pack.measures:
        text = pack.measures[name].label
    else:
        text = name.replace("_", " ").capitalize()
    text += f", {view.side}" if view.side else ""
    text += f", attempt {view.attempt}" if view.attempt else ""
    text += f", {view.part}" if view.part else ""
    text += {"earlier": ", earlier", "highest": ", highest", "lowest": ", lowest"}.get(view.pick, "")
    text += f" ({view.qualifier})" if view.qualifier else ""
    return text + {"age": ", age at", "since": ", time since", "unequal": ", sides unequal"}.get(view.what, "")


def used_value(reading: Recorded, pack: Pack, view: View | None = None) -> Used:
    """Return a recording for print, with the converted value beside the given one."""
    shape = pack.findings[reading.finding]
    label = label_of(pack, view) if view else label_of(pack, View(reading.finding, reading.side, 0, reading.part))
    given = reading.given if shape.number else words(reading.given)
    if reading.absent:
        given = f"no value ({reading.absent})"
    notes = [f"= {reading.converted}"] if reading.converted else []
    notes += [f"from '{reading.spread_from}: normal'"] if reading.spread_from else []
    notes += ["reported by the family"] if reading.reported else []
    notes += [reading.status] if reading.status != "final" else []
    return Used(
        subject=reading.finding,
        label=label,
        value=given,
        time=reading.time.text,
        origin=reading.origin or None,
        note="; ".join(notes) or None,
    )


def words(value: str) -> str:
    """Return a value's name as words."""
    return value.replace("_", " ")


def rule_values(index: int, facts: Facts) -> tuple[Used, ...]:
    """Return the values that fired rule ``index``, each once, in the order of the rule."""
    if index not in facts.rule_values:
        rule = facts.pack.program.rules[index]
        facts.rule_values[index] = fired_values(AllOf((rule.applies, rule.when)), facts)
    return facts.rule_values[index]


def fired_values(node: Node, facts: Facts) -> tuple[Used, ...]:
    """Return the values that make ``node`` hold, each once, in the order of the condition."""
    found: dict[str, Used] = {}
    for test in _holding(node, facts):
        for used in _values_of(facts.pack.table.entries[test.var], test, facts):
            found.setdefault(f"{used.subject}|{used.label}|{used.value}|{used.time}", used)
    return tuple(found.values())


def _holding(node: Node, facts: Facts) -> Iterator[Among]:
    if isinstance(node, Among):
        if evaluate(node, facts.states).must:
            yield node
    elif isinstance(node, AllOf | AnyOf):
        for part in node.parts:
            if isinstance(node, AllOf) or evaluate(part, facts.states).must:
                yield from _holding(part, facts)


def _values_of(entry: Entry, test: Among, facts: Facts) -> Iterator[Used]:
    view, pack = entry.view, facts.pack
    if view.subject.startswith("setting:"):
        choice = facts.settings[view.subject.removeprefix("setting:")]
        yield Used(subject=view.subject, label=label_of(pack, view), value=choice)
    elif view.subject in pack.measures:
        yield from measure_values(view.subject, facts)
    elif view.subject in pack.findings:
        yield from _finding_values(entry, test, facts)
    elif view.subject in pack.concluders:
        yield from _conclusion_values(view.subject, test, facts)
    elif facts.visit.sex is not None:
        yield Used(subject=view.subject, label="Sex at birth", value=facts.visit.sex)


def _conclusion_values(name: str, test: Among, facts: Facts) -> Iterator[Used]:
    holds = bool(test.mask & 2)
    yield Used(subject=name, label=words(name).capitalize(), value="yes" if holds else "no", note="concluded by rules")
    if holds:
        for rule in facts.pack.concluders[name]:
            if evaluate(rule.applies, facts.states).must and evaluate(rule.when, facts.states).must:
                yield from fired_values(AllOf((rule.applies, rule.when)), facts)


def _finding_values(entry: Entry, test: Among, facts: Facts) -> Iterator[Used]:
    view, pack = entry.view, facts.pack
    if view.what == "unequal":
        for side in pack.findings[view.subject].sides or ():
            reading = facts.readings.latest(view.subject, side).valued
            if reading:
                yield used_value(reading, pack)
        return
    if view.what == "among" or (view.pick in ("highest", "lowest") and view.what == "value"):
        _, possibly = facts.readings.within(view.subject, view.side, view.over)
        for reading in possibly:
            if view.what != "among" or (
                isinstance(reading.possible, frozenset) and reading.possible & set(view.accept)
            ):
                yield used_value(reading, pack, view)
        return
    chosen = facts.chosen(view).valued
    if chosen is not None:
        yield used_value(chosen, pack, view if view.what == "value" else None)
    if view.what == "beyond":
        yield from measure_values(view.line, facts)


def measure_values(name: str, facts: Facts) -> Iterator[Used]:
    """Return a measure for print, then the recordings that it was computed from."""
    shape, result = facts.pack.measures[name], facts.result(name)
    yield Used(subject=name, label=shape.label, value=measure_text(name, result, facts), note=result.basis or None)
    for reading in result.used:
        yield used_value(reading, facts.pack)


def measure_text(name: str, result: Result, facts: Facts) -> str:
    """Return a measure's value with its unit, in the digits that it deserves."""
    if name not in facts.measure_texts:
        facts.measure_texts[name] = _measure_text(name, result, facts.pack)
    return facts.measure_texts[name]


def _measure_text(name: str, result: Result, pack: Pack) -> str:
    if result.categories is not None:
        return " or ".join(words(c) for c in result.categories) if result.categories else "not known"
    if result.span == (None, None):
        return "not known"
    low, high = (measure_number(name, end, pack) for end in result.span)
    if low is None or high is None:
        text = show_range(Range(*result.span), pack.measures[name].digits)
    else:
        text = low if low == high else f"{low} to {high}"
    return f"{text} {result.unit}{_in_unit_of_finding(name, result, pack)}".strip()


def _in_unit_of_finding(name: str, result: Result, pack: Pack) -> str:
    """A line is computed in its set's own unit; people also see it in the unit of the value beside it."""
    given = pack.measures[name].model_extra or {}
    shape = pack.findings.get(str(given.get("of", "")).split(".")[0])
    unit = shape.number.unit if shape and shape.number else result.unit
    ends = {end for end in result.span if end is not None}
    if pack.measures[name].compute not in ("threshold", "margin") or unit == result.unit or not ends:
        return ""
    turned = [plain(convert(end, result.unit, unit), 1) for end in sorted(ends)]
    return f" (= {' to '.join(dict.fromkeys(turned))} {unit})"


def measure_number(name: str, value: Fraction | None, pack: Pack) -> str | None:
    """Print one end of a measure, with as many decimals as keep it on its own side of every cut point."""
    if value is None:
        return None
    cuts = [pack.table.cuts(var) for var, entry in pack.variables_of.get(name, ()) if entry.kind == "number"]
    digits = pack.measures[name].digits
    for more in range(5):
        text = plain(value, digits + more)
        if all(cell(c, Fraction(text)) == cell(c, value) for c in cuts):
            return text
    return text


def sought(var: int, facts: Facts) -> tuple[Asked, ...]:
    """Return what an open variable waits for, conclusions and measures followed down to findings."""
    if var not in facts.sought:
        facts.sought[var] = tuple(dict.fromkeys(_sought(facts.pack.table.entries[var].view, facts, 0)))
    return facts.sought[var]


def _sought(view: View, facts: Facts, depth: int) -> Iterator[Asked]:
    pack, name = facts.pack, view.subject
    if depth > 8 or name.startswith("setting:"):
        return
    if name in pack.concluders:
        for rule in pack.concluders[name]:
            node = AllOf((rule.applies, rule.when))
            if evaluate(node, facts.states).may:
                for test in tests(residual(node, facts.states)):
                    yield from _sought(pack.table.entries[test.var].view, facts, depth + 1)
    elif name in pack.measures:
        yield from _sought_measure(name, facts, depth)
    elif name in pack.findings:
        yield from _sought_finding(view, facts, depth)
    else:
        yield Asked(name, "", "sex")


def _sought_measure(name: str, facts: Facts, depth: int) -> Iterator[Asked]:
    result = facts.result(name)
    if result.why_not:
        yield Asked(name, "", "supplied")
        return
    inputs = inputs_of(facts.pack.measures[name])
    missing = [i for i in inputs if i in facts.pack.measures or not _has_value(i, facts)]
    for subject in missing or inputs:
        yield from _sought(View(subject), facts, depth + 1)
    if not inputs:
        yield Asked("born", "", "time")


def _has_value(finding: str, facts: Facts) -> bool:
    shape = facts.pack.findings.get(finding)
    if shape is None:
        return False
    if shape.readings:
        return bool(facts.readings.attempts(finding))
    return facts.readings.latest(finding).valued is not None


def _sought_finding(view: View, facts: Facts, depth: int) -> Iterator[Asked]:
    shape = facts.pack.findings[view.subject]
    if view.what == "unequal":
        for side in shape.sides or ():
            if facts.readings.latest(view.subject, side).valued is None:
                yield Asked(view.subject, side, "finding")
        return
    if view.pick == "earlier":
        yield Asked(view.subject, view.side, "history")
        return
    chosen = facts.chosen(view).valued
    if view.what == "beyond" and chosen is not None:
        yield from _sought_measure(view.line, facts, depth)
        return
    if view.what == "age" and chosen is not None:
        yield Asked("born", "", "time")
        return
    yield Asked(view.subject, view.side, "finding")
    guard = facts.pack.compiled.guards.get(view.subject)
    if guard is not None and not evaluate(guard, facts.states).must:
        for test in tests(residual(guard, facts.states)):
            yield from _sought(facts.pack.table.entries[test.var].view, facts, depth + 1)


def asked_words(asked: Asked, facts: Facts) -> str:
    """Say what is asked for."""
    if asked not in facts.asked_texts:
        facts.asked_texts[asked] = _asked_words(asked, facts)
    return facts.asked_texts[asked]


def _asked_words(asked: Asked, facts: Facts) -> str:
    if asked.kind == "supplied":
        return f"{facts.pack.measures[asked.finding].label} ({facts.result(asked.finding).why_not})"
    if asked.finding in facts.pack.findings:
        label = label_of(facts.pack, View(asked.finding, asked.side))
        return f"{label} at an earlier visit" if asked.kind == "history" else label
    return "exact time of birth" if asked.finding == "born" else asked.finding.replace("_", " ")
