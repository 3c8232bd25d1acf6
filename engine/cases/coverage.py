"""What a rule can never be, so that no case is asked to show it: decided from its condition, not by hand."""

from __future__ import annotations

from fractions import Fraction

from layette.engine.logic.conditions import State, evaluate, variables
from layette.engine.logic.reference import both
from layette.engine.states.plan import StatesPlan

AGES = {"age": 24, "age_days": 1}
"""Measures of the age at the visit, and how many of their units make a day."""


def impossible(plan: StatesPlan) -> dict[str, tuple[str, ...]]:
    """Return, for each rule with something that it can never be: ``ruled out`` or ``undecided``.

    A rule that holds whatever is found, at every age of the pack, is never ruled out. One that asks of settings alone,
    of the age in calendar days, or of nothing, is never undecided, since these are always known.
    """
    pack, states = plan.pack, _at_covered_ages(plan)
    days = {name for name, shape in pack.measures.items() if shape.compute == "age_days"}
    out: dict[str, tuple[str, ...]] = {}
    for index, rule in enumerate(pack.program.rules):
        always = both(evaluate(rule.applies, states), evaluate(rule.when, states)).must and not rule.replacements
        nodes = (rule.applies, rule.when, *rule.replacements)
        asked = {pack.table.entries[var].view.subject for node in nodes for var in variables(node)}
        settled = all(subject.startswith("setting:") or subject in days for subject in asked)
        words = tuple(word for word, never in (("ruled out", always), ("undecided", always or settled)) if never)
        if words:
            out[pack.instances[index].rule.shape.id] = words
    return out


def _at_covered_ages(plan: StatesPlan) -> list[State]:
    """Nothing is known but that the age lies within what the pack covers."""
    pack, states = plan.pack, plan.pack.program.unknown
    for name, shape in pack.measures.items():
        for var, _ in plan.variables_of.get(name, ()) if shape.compute in AGES else ():
            days = Fraction(pack.oldest_days + (1 if shape.compute == "age" else 0))
            cells = pack.table.cells_mask(var, (Fraction(0), True), (days * AGES[shape.compute], True))
            states[var] &= cells
    return states
