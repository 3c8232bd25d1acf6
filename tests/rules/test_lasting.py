"""Of each named value on which an emergency hangs the pack says how long it counts, or the grammar page why not."""

from __future__ import annotations

import re

from support.checkout import ROOT
from support.feeds.emergencies import stat_rules

from layette.engine import load_pack
from layette.engine.logic.conditions import variables


def findings_of(number: int) -> set[str]:
    """The findings that a rule tests itself, or by way of conclusions."""
    pack = load_pack()
    found: set[str] = set()
    rules = [pack.program.rules[number]]
    while rules:
        rule = rules.pop()
        for var in (*variables(rule.applies), *variables(rule.when)):
            name = pack.table.entries[var].view.subject
            if name not in found:
                found.add(name)
                rules += pack.plan.states.concluders.get(name, ())
    return found


def test_what_is_neither_an_event_nor_stands_has_its_reason_on_the_grammar_page() -> None:
    pack = load_pack()
    clinical = [number for number in stat_rules(pack) if number not in pack.plan.due_numbers]
    named = {name for number in clinical for name in findings_of(number) if name in pack.findings}
    shapes = {name: pack.findings[name] for name in named if pack.findings[name].values}
    neither = {name for name, shape in shapes.items() if not (shape.carries_over or shape.event or shape.stands)}
    page = (ROOT / "rules/GRAMMAR.md").read_text(encoding="utf-8").partition("are neither;")[2].partition("\n## ")[0]
    rows = [line.split("|")[1] for line in page.splitlines() if line.startswith("| `")]
    assert sorted(name for row in rows for name in re.findall(r"`(\w+)`", row)) == sorted(neither)


def test_what_stands_or_happened_is_grave_enough_to_be_kept() -> None:
    """A value that is kept and that no rule tests would be kept for nothing."""
    pack = load_pack()
    used = {name for number in range(len(pack.program.rules)) for name in findings_of(number)}
    assert [name for name, shape in pack.findings.items() if (shape.event or shape.stands) and name not in used] == []
