"""From written rules to a program: every side, setting and replacement expanded, in dependency order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from layette.engine.errors import PackProblem
from layette.engine.logic.conditions import AllOf, Node, State, normal_form, tests
from layette.engine.logic.program import CompiledRule, Program
from layette.engine.pack.checks.conditions import ConditionCheck, check_sides
from layette.engine.pack.checks.replacements import check_replacements
from layette.engine.pack.compiled import Compiled
from layette.engine.pack.grammar.conditions import Grammar
from layette.engine.pack.grammar.scope import HOLDS
from layette.engine.pack.order import in_order
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.written import Instance, SetGuards, Written
from layette.engine.pack.written.yaml_nodes import Document, Path


@dataclass
class Trees:
    """The trees of one instance, as authored."""

    applies: Node = HOLDS
    when: Node = HOLDS
    unless: Node | None = None

    @property
    def whole(self) -> Node:
        """`applies and when`."""
        return AllOf((self.applies, self.when))


def compile_rules(
    written: Sequence[Written], subjects: Subjects, set_guards: SetGuards, problems: list[PackProblem]
) -> Compiled:
    """Compile ``written`` against ``subjects``; mistakes go to ``problems``, and leave the program empty."""
    table = VariableTable()
    instances = [Instance(rule, side) for rule in written for side in _sides(rule)]
    mistakes: list[PackProblem] = []
    _build(instances, subjects, set_guards, table, mistakes)
    problems += mistakes
    table.freeze()
    trees, guards = _build(instances, subjects, set_guards, table, [])
    if mistakes:
        return Compiled(Program((), ()), tuple(instances), guards, table)
    return _finished(instances, trees, guards, table, subjects, problems)


def _sides(rule: Written) -> tuple[str, ...]:
    return ("left", "right") if rule.shape.each == "side" else ("",)


def _build(
    instances: Sequence[Instance],
    subjects: Subjects,
    set_guards: SetGuards,
    table: VariableTable,
    problems: list[PackProblem],
) -> tuple[list[Trees], dict[str, Node]]:
    trees = [_trees(instance, subjects, set_guards, table, problems) for instance in instances]
    guards = {}
    for name, shape in subjects.findings.items():
        if shape.applies_when is not None:
            grammar = Grammar(subjects, table, _reporter(subjects.document_of(name), (), problems))
            guards[name] = grammar.condition(shape.applies_when, ("findings", name, "applies_when"))
    for name in sorted(subjects.conclusions):
        grammar = Grammar(subjects, table, lambda *_: None)
        grammar.condition({name: True}, ())
    return trees, guards


def _trees(
    instance: Instance,
    subjects: Subjects,
    set_guards: SetGuards,
    table: VariableTable,
    problems: list[PackProblem],
) -> Trees:
    shape, document, path = instance.rule.shape, instance.rule.document, instance.rule.path
    grammar = Grammar(subjects, table, _reporter(document, path, problems))

    def tree(key: str, written: Any) -> Node:
        return grammar.condition(written, (key,), instance.side)

    out = Trees()
    if shape.applies_when is not None:
        out.applies = tree("applies_when", shape.applies_when)
    if shape.id in set_guards:
        setting, choices = set_guards[shape.id]
        out.applies = AllOf((out.applies, grammar.setting_is(setting, list(choices))))
    if shape.when is not None:
        out.when = tree("when", shape.when)
    elif shape.due is None:
        problems.append(document.problem(path, "condition-empty", "a rule needs a 'when' (or is a 'due' rule)"))
    if shape.unless is not None:
        out.unless = tree("unless", shape.unless)
    return out


def _reporter(document: Document | None, base: Path, problems: list[PackProblem]) -> Any:
    def report(path: Path, code: str, message: str) -> None:
        if document is not None:
            problems.append(document.problem((*base, *path), code, message))

    return report


def _finished(
    instances: list[Instance],
    trees: list[Trees],
    guards: dict[str, Node],
    table: VariableTable,
    subjects: Subjects,
    problems: list[PackProblem],
) -> Compiled:
    made = table.variables()
    conclusions = {
        entry.view.subject: k for k, entry in enumerate(table.entries) if entry.view.subject in subjects.conclusions
    }
    rules = _rules(instances, trees, [variable.full for variable in made], conclusions)
    order, ring = in_order(rules)
    problems += _ring_problems(ring, instances)
    check = ConditionCheck(made, table, subjects)
    for instance, rule in zip(instances, rules, strict=True):
        problems += check.problems(instance, rule)
    problems += check_replacements(instances)
    problems += check_sides(instances, rules)
    program = Program(made, tuple(rules[k] for k in order), tuple(conclusions.values()))
    inexact = frozenset(rule.id for rule in rules if not _exact(rule, table))
    return Compiled(program, tuple(instances[k] for k in order), guards, table, inexact)


def _rules(
    instances: Sequence[Instance], trees: Sequence[Trees], full: Sequence[State], conclusions: Mapping[str, int]
) -> list[CompiledRule]:
    replacers: dict[str, list[int]] = defaultdict(list)
    for number, instance in enumerate(instances):
        for name in dict.fromkeys(instance.rule.shape.instead_of):
            replacers[name].append(number)
    rules = []
    for instance, mine in zip(instances, trees, strict=True):
        others = replacers.get(instance.rule.shape.id, ())
        wholes = [trees[k].whole for k in others if _same_side(instances[k], instance)]
        replacements = [*wholes, *([] if mine.unless is None else [mine.unless])]
        rules.append(_compiled(instance, mine, replacements, full, conclusions))
    return rules


def _same_side(one: Instance, other: Instance) -> bool:
    return not one.side or not other.side or one.side == other.side


def _compiled(
    instance: Instance,
    mine: Trees,
    replacements: Sequence[Node],
    full: Sequence[State],
    conclusions: Mapping[str, int],
) -> CompiledRule:
    """Return one rule; ``replacements`` are the whole conditions of what replaces it."""
    own = {normal_form(part, full) for part in _conjuncts(mine.whole)} if replacements else set()
    authored = tuple(
        AllOf(tuple(part for part in _conjuncts(tree) if normal_form(part, full) not in own)) for tree in replacements
    )
    return CompiledRule(
        id=instance.key,
        group=instance.rule.group,
        applies=normal_form(mine.applies, full),
        when=normal_form(mine.when, full),
        authored=mine.whole,
        replacements=tuple(normal_form(tree, full) for tree in authored),
        authored_replacements=authored,
        concludes=tuple(conclusions[c.conclude] for c in instance.rule.shape.then if c.conclude),
    )


def _conjuncts(node: Node) -> Iterator[Node]:
    if isinstance(node, AllOf):
        for part in node.parts:
            yield from _conjuncts(part)
    else:
        yield node


def _ring_problems(ring: Iterable[int], instances: Sequence[Instance]) -> Iterator[PackProblem]:
    names = ", ".join(sorted({instances[k].rule.shape.id for k in ring}))
    for k in ring:
        rule = instances[k].rule
        yield rule.document.problem(rule.path, "cycle", f"these rules wait for one another's conclusions: {names}")


def _exact(rule: CompiledRule, table: VariableTable) -> bool:
    """Whether each recording stands once in the rule, or always in one direction, so that Kleene loses nothing."""
    masks: dict[tuple[str, str], set[tuple[int, int]]] = {}
    for node in (rule.applies, rule.when, *rule.replacements):
        for test in tests(node):
            view = table.entries[test.var].view
            masks.setdefault((view.subject, view.side), set()).add((test.var, test.mask))
    return all(len(found) == 1 for found in masks.values())
