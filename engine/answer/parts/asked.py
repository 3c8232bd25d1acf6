"""What an open rule waits for: conclusions and measures followed down to findings."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.answer.laid.labels import label_of
from layette.engine.answer.laid.waiting import WantedInput
from layette.engine.answer.parts.context import Context
from layette.engine.exact.ranges import Range
from layette.engine.logic.conditions import evaluate, tests
from layette.engine.logic.residual import residual
from layette.engine.pack.written.subjects import inputs_of
from layette.engine.pack.written.views import View


def waits_for(index: int, context: Context) -> tuple[WantedInput, ...]:
    """Return what an open rule waits for; of a provisional one, what would replace it."""
    known = context.open_inputs.get(index)
    if known is None:
        waits_for = context.plan.open_rules.of(index, context.statuses[index], context.states).waits_for
        if len(waits_for) == 1:
            known = sought(waits_for[0], context)
        else:
            known = tuple(dict.fromkeys([wanted for var in waits_for for wanted in sought(var, context)]))
        context.open_inputs[index] = known
    return known


def sought(var: int, context: Context) -> tuple[WantedInput, ...]:
    """Return what an open variable waits for, conclusions and measures followed down to findings."""
    known = context.plan.wanted.get(var) or context.wanted_inputs.get(var)
    if known is None:
        found = _sought(context.pack.table.entries[var].view, context, 0)
        known = context.wanted_inputs[var] = tuple(dict.fromkeys(found))
    return known


def _sought(view: View, context: Context, depth: int) -> Iterator[WantedInput]:
    pack, name = context.pack, view.subject
    if depth > 8 or name.startswith("setting:"):
        return
    if name in context.plan.states.concluding:
        for number in context.plan.states.concluding[name]:
            for var in context.plan.open_rules.left(number, context.states):
                yield from _sought(pack.table.entries[var].view, context, depth + 1)
    elif name in pack.measures:
        yield from _sought_measure(name, context, depth)
    elif name in pack.findings:
        yield from _sought_finding(view, context, depth)
    else:
        yield WantedInput(name, "", "sex")


def _sought_measure(name: str, context: Context, depth: int) -> Iterator[WantedInput]:
    result = context.facts.result(name)
    if result.why_not:
        yield WantedInput(name, "", "supplied")
        return
    inputs = inputs_of(context.pack.measures[name])
    missing = [i for i in inputs if i in context.pack.measures or not _has_value(i, context)]
    for subject in missing or inputs:
        if not missing and _is_exact(subject, context):  # what is missing is another value of it
            yield WantedInput(subject, "", "history")
        else:
            yield from _sought(View(subject), context, depth + 1)
    if not inputs:
        yield WantedInput("born", "", "time")


def _has_value(finding: str, context: Context) -> bool:
    shape = context.pack.findings.get(finding)
    if shape is None:
        return False
    if shape.readings:
        return bool(context.readings.attempts(finding))
    return context.readings.latest(finding).valued is not None


def _is_exact(finding: str, context: Context) -> bool:
    """Whether a finding is recorded as one number at one moment, so that nothing closer could be asked for."""
    shape = context.pack.findings.get(finding)
    if shape is None or shape.readings or shape.sides:
        return False
    valued = context.readings.latest(finding).valued
    possible = None if valued is None else valued.possible
    exact = isinstance(possible, Range) and possible.lo is not None and possible.lo == possible.hi
    return exact and valued is not None and valued.time.exact


def _sought_finding(view: View, context: Context, depth: int) -> Iterator[WantedInput]:
    shape = context.pack.findings[view.subject]
    if view.what == "unequal":
        for side in shape.sides or ():
            if context.readings.latest(view.subject, side).valued is None:
                yield WantedInput(view.subject, side, "finding")
        return
    if view.pick == "earlier":
        yield WantedInput(view.subject, view.side, "history")
        return
    chosen = context.facts.chosen(view).valued
    if view.what == "beyond" and chosen is not None:
        yield from _sought_measure(view.line, context, depth)
        return
    if view.what == "age" and chosen is not None:
        yield WantedInput("born", "", "time")
        return
    yield WantedInput(view.subject, view.side, "finding")
    guard = context.pack.guards.get(view.subject)
    if guard is not None and not evaluate(guard, context.states).must:
        for test in tests(residual(guard, context.states)):
            yield from _sought(context.pack.table.entries[test.var].view, context, depth + 1)


def asked_words(asked: WantedInput, context: Context) -> str:
    """Say what is asked for."""
    if asked not in context.wanted_texts:
        context.wanted_texts[asked] = _asked_words(asked, context)
    return context.wanted_texts[asked]


def _asked_words(asked: WantedInput, context: Context) -> str:
    if asked.kind == "supplied":
        return f"{context.pack.measures[asked.finding].label} ({context.facts.result(asked.finding).why_not})"
    if asked.finding in context.pack.findings:
        label = label_of(context.pack, View(asked.finding, asked.side))
        return f"{label} at an earlier visit" if asked.kind == "history" else label
    return "exact time of birth" if asked.finding == "born" else asked.finding.replace("_", " ")
