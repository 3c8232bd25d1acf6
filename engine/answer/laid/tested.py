"""The findings that stand behind a rule, by way of conclusions and measures too."""

from __future__ import annotations

from layette.engine.logic.conditions import Node, variables
from layette.engine.logic.program import CompiledRule
from layette.engine.pack.written.subjects import inputs_of
from layette.engine.states.plan import StatesPlan


def tested(rule: CompiledRule, plan: StatesPlan) -> frozenset[str]:
    """Return the names of all that ``rule`` hangs on: findings and who they are for, measures, conclusions."""
    return _names([rule.applies, rule.when], plan)


def sparing(rule: CompiledRule, plan: StatesPlan) -> frozenset[str]:
    """Return the names of all that can replace ``rule`` or spare the newborn from it (`unless`, `instead_of`)."""
    return _names(list(rule.replacements), plan)


def _names(nodes: list[Node], plan: StatesPlan) -> frozenset[str]:
    entries, measures, guards = plan.pack.table.entries, plan.pack.measures, plan.pack.guards
    found: set[str] = set()
    while nodes:
        names = [entries[var].view.subject for var in variables(nodes.pop())]
        while names:
            name = names.pop()
            if name not in found:
                found.add(name)
                nodes += (part for one in plan.concluders.get(name, ()) for part in (one.applies, one.when))
                nodes += [guards[name]] if name in guards else []
                names += inputs_of(measures[name]) if name in measures else ()
    return frozenset(found)
