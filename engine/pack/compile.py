"""From written rules to a program: every side, setting and replacement expanded, in dependency order."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from layette.engine.errors import PackProblem
from layette.engine.logic.conditions import AllOf, Node, State, tests
from layette.engine.logic.normal_form import normal_form
from layette.engine.logic.program import CompiledRule, Program
from layette.engine.pack.checks.conditions import ConditionCheck, check_sides
from layette.engine.pack.checks.replacements import check_replacements
from layette.engine.pack.compiled import Compiled
from layette.engine.pack.order import in_order
from layette.engine.pack.trees import TreeReader, Trees
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.written import Instance, SetGuards, Written


def compile_rules(
    written: Sequence[Written], subjects: Subjects, set_guards: SetGuards, problems: list[PackProblem]
) -> Compiled:
    """Compile ``written`` against ``subjects``; mistakes go to ``problems``, and leave the program empty."""
    table = VariableTable()
    instances = [Instance(rule, side) for rule in written for side in _sides(rule)]
    reader, mistakes = TreeReader(subjects, set_guards, table), list[PackProblem]()
    reader.read(instances, mistakes)  # gathers the cut points of every number
    problems += mistakes
    table.freeze()
    trees, guards = reader.read(instances, [])
    if mistakes:
        return Compiled(Program((), ()), tuple(instances), guards, table)
    return _finished(instances, trees, guards, table, subjects, problems)


def _sides(rule: Written) -> tuple[str, ...]:
    return ("left", "right") if rule.shape.each == "side" else ("",)


def _finished(
    instances: list[Instance],
    trees: list[Trees],
    guards: dict[str, Node],
    table: VariableTable,
    subjects: Subjects,
    problems: list[PackProblem],
) -> Compiled:
    variables = table.variables()
    conclusions = {
        entry.view.subject: k for k, entry in enumerate(table.entries) if entry.view.subject in subjects.conclusions
    }
    rules = _rules(instances, trees, [variable.full for variable in variables], conclusions)
    order, ring = in_order(rules)
    problems += _ring_problems(ring, instances)
    problems += _faults(instances, rules, ConditionCheck(variables, table, subjects))
    program = Program(variables, tuple(rules[k] for k in order), tuple(conclusions.values()))
    inexact = frozenset(rule.id for rule in rules if not _exact(rule, table))
    return Compiled(program, tuple(instances[k] for k in order), guards, table, inexact)


def _faults(
    instances: Sequence[Instance], rules: Sequence[CompiledRule], check: ConditionCheck
) -> Iterator[PackProblem]:
    for instance, rule in zip(instances, rules, strict=True):
        yield from check.problems(instance, rule)
    yield from check_replacements(instances)
    yield from check_sides(instances, rules)


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


def _same_side(instance: Instance, other: Instance) -> bool:
    return not instance.side or not other.side or instance.side == other.side


def _compiled(
    instance: Instance,
    mine: Trees,
    replacements: Sequence[Node],
    full: Sequence[State],
    conclusions: Mapping[str, int],
) -> CompiledRule:
    """Return one rule; ``replacements`` are the whole conditions of what replaces it, its own `unless` the last."""
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
    return all(len(asked) == 1 for asked in masks.values())
