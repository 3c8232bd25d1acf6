"""One area of a pack by its name, for who edits it: its rules, and the cases that are about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from layette.engine.cases.written import Case
from layette.engine.errors import InputError, InputProblem
from layette.engine.logic.conditions import AllOf, variables
from layette.engine.pack.compiled import CompiledPack


@dataclass(frozen=True)
class Area:
    """An area: the ids of its own rules, and of all that it reports, in the order of the pack."""

    name: str
    own: frozenset[str]
    rules: tuple[str, ...]

    def has(self, case: Case) -> bool:
        """Whether a case stands in the area's file, or names one of its own rules."""
        return case.file == self.name or not self.own.isdisjoint(_named(case))


def area_named(name: str, pack: CompiledPack, cases: Sequence[Case]) -> Area:
    """Return the area of this name: that of a file of rules or of cases, or an area of the findings.

    Its own rules are those of the file, and those that test a finding of the area; reported are also those that a case
    of the file names. Raises `InputError` for a name that is none.
    """
    names = areas_of(pack, cases)
    if name not in names:
        message = "the pack has no such area"
        raise InputError([InputProblem("only", "setting", message, name, "one of " + ", ".join(names))])
    own = {rule for rule in pack.rules if _file(rule) == name} | _testing(name, pack)
    named = {rule for case in cases if case.file == name for rule in _named(case)}
    return Area(name, frozenset(own), tuple(rule for rule in pack.rules if rule in own | named))


def areas_of(pack: CompiledPack, cases: Sequence[Case]) -> list[str]:
    """Return the names of all areas, sorted."""
    return sorted({*map(_file, pack.rules), *(case.file for case in cases), *(area.area for area in pack.areas)})


def _file(rule: str) -> str:
    return rule.partition(".")[0]


def _named(case: Case) -> set[str]:
    expect = case.shape.expect
    return {name.partition("@")[0] for name in expect.rules} | {*expect.reasons}


def _testing(name: str, pack: CompiledPack) -> set[str]:
    """Return the rules that test a finding of an area of the findings."""
    findings = {finding for area in pack.areas if area.area == name for finding in area.findings}
    own = {var for var, entry in enumerate(pack.table.entries) if entry.view.subject in findings}
    return {
        instance.rule.shape.id
        for instance, rule in zip(pack.instances, pack.program.rules, strict=True)
        if not own.isdisjoint(variables(AllOf((rule.applies, rule.when, *rule.replacements))))
    }
