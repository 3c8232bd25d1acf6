"""What a rule must satisfy beyond its names: it can fire, it can stay silent, and never fires unexamined."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from layette.engine.errors import PackProblem
from layette.engine.logic.conditions import AllOf, AnyOf, Node, evaluate
from layette.engine.logic.normal_form import normal_form
from layette.engine.logic.program import NO, CompiledRule, Variable
from layette.engine.logic.rete_terms import check_limits
from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import DOES_NOT_APPLY, VariableTable
from layette.engine.terms import PRIORITIES, VERBS

if TYPE_CHECKING:
    from layette.engine.pack.written.written import Instance


def check_condition(
    instance: Instance,
    rule: CompiledRule,
    variables: Sequence[Variable],
    table: VariableTable,
    subjects: Subjects,
    authored: Node,
) -> Iterator[PackProblem]:
    """Yield what is wrong with one rule's condition."""
    document, path = instance.rule.document, instance.rule.path
    if instance.rule.shape.due is not None and instance.rule.shape.when is None:
        return
    where = (*path, "when")
    whole = normal_form(AllOf((rule.applies, rule.when)), [variable.full for variable in variables])
    if _never(whole):
        yield document.problem(
            where, "condition-constant", "this condition can never hold: two tests of it exclude each other"
        )
    elif _always(rule.when, variables):
        yield document.problem(where, "condition-constant", "this condition always holds once its finding is recorded")
    elif _fires_unexamined(rule, variables, table, subjects):
        yield document.problem(
            where, "fires-unexamined", "this rule fires though nothing was found; test for a value that was seen"
        )
    unless = instance.rule.shape.unless is not None
    if unless and (_never(rule.replacements[-1]) or _always(rule.replacements[-1], variables)):
        message = "this condition holds always or never, whatever is found"
        yield document.problem((*path, "unless"), "condition-constant", message)
    for message in check_limits(rule, variables):
        yield document.problem(where, "second-reader", message)


def _never(node: Node) -> bool:
    if isinstance(node, AllOf):
        return any(_never(part) for part in node.parts)
    if isinstance(node, AnyOf):
        return all(_never(part) for part in node.parts)
    return getattr(node, "mask", 1) == 0


def _always(node: Node, variables: Sequence[Variable]) -> bool:
    if isinstance(node, AllOf):
        return all(_always(part, variables) for part in node.parts)
    if isinstance(node, AnyOf):
        return any(_always(part, variables) for part in node.parts)
    var, mask = getattr(node, "var", 0), getattr(node, "mask", 0)
    skip = 1 if variables[var].atoms[0] == DOES_NOT_APPLY else 0
    return bool(mask | skip == variables[var].full)


def _fires_unexamined(
    rule: CompiledRule, variables: Sequence[Variable], table: VariableTable, subjects: Subjects
) -> bool:
    """Whether the rule must hold where guarded findings do not apply, conclusions are false, all else unknown."""
    states = [variable.full for variable in variables]
    for k, entry in enumerate(table.entries):
        shape = subjects.findings.get(entry.view.subject)
        if entry.view.subject in subjects.conclusions:
            states[k] = NO
        elif shape is not None and shape.applies_when is not None and entry.kind != "flag":
            states[k] = 1
    return evaluate(rule.when, states).must


def check_sides(instances: Sequence[Instance], rules: Sequence[CompiledRule]) -> Iterator[PackProblem]:
    """Yield the rules for each side in which nothing has a side."""
    for instance, other, mine, its in zip(instances, instances[1:], rules, rules[1:], strict=False):
        if (
            instance.side == "left"
            and other.rule is instance.rule
            and (mine.applies, mine.when) == (its.applies, its.when)
        ):
            message = "'each: side', but no test of this rule is on a finding that has sides"
            yield instance.rule.document.problem((*instance.rule.path, "each"), "side-missing", message)


def check_replacements(instances: Sequence[Instance]) -> Iterator[PackProblem]:
    """Yield what is wrong with `instead_of`: unknown, a ring, on a conclusion, needless, or incomplete."""
    rules = {instance.rule.shape.id: instance.rule for instance in instances}
    for rule in rules.values():
        where = (*rule.path, "instead_of")
        if _in_ring(rule.shape.id, {k: tuple(r.shape.instead_of) for k, r in rules.items()}):
            yield rule.document.problem(where, "cycle", "this rule replaces itself by way of others")
            continue
        for name in rule.shape.instead_of:
            if name not in rules:
                yield rule.document.problem(where, "unknown-rule", f"there is no rule '{name}' to replace")
                continue
            for message in _replacement_faults(rule.shape, rules[name].shape):
                yield rule.document.problem(where, "replacement", message)


def _replacement_faults(replacer: RuleShape, replaced: RuleShape) -> Iterator[str]:
    if any(c.conclude for c in replaced.then):
        yield f"'{replaced.id}' concludes something; a conclusion cannot be replaced"
    missing = [name for name in replaced.instead_of if name not in replacer.instead_of]
    if missing:
        yield f"'{replaced.id}' itself replaces {', '.join(missing)}; name these too"
    mine, theirs = _targets(replacer), _targets(replaced)
    if theirs and all(t in mine and mine[t] <= rank for t, rank in theirs.items()):
        yield f"needless: resolution already prefers this rule over '{replaced.id}' on the same target"


def _targets(shape: RuleShape) -> dict[str, int]:
    """Return target -> rank of its priority (0 is stat)."""
    out: dict[str, int] = {}
    for consequence in shape.then:
        for verb in VERBS:
            name = getattr(consequence, verb)
            if name is not None:
                out[name] = PRIORITIES.index(consequence.priority or "routine")
    return out


def _in_ring(start: str, replaces: dict[str, tuple[str, ...]]) -> bool:
    seen: set[str] = set()
    queue = list(replaces.get(start, ()))
    while queue:
        name = queue.pop()
        if name == start:
            return True
        if name not in seen:
            seen.add(name)
            queue += replaces.get(name, ())
    return False
