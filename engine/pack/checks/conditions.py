"""What a rule's condition must satisfy beyond its names: it can hold, it can fail, and nothing holds it unexamined."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from layette.engine.errors import PackProblem
from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State, evaluate
from layette.engine.logic.normal_form import normal_form
from layette.engine.logic.program import NO, CompiledRule, Variable
from layette.engine.logic.rete_terms import check_limits
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import DOES_NOT_APPLY, NA, VariableTable
from layette.engine.pack.written.written import Instance


class ConditionCheck:
    """Looks at the condition of one rule after another; what is the same for all rules is laid out once."""

    def __init__(self, variables: Sequence[Variable], table: VariableTable, subjects: Subjects) -> None:
        """Check conditions over ``variables``, which stand for the views of ``table``."""
        self._variables = variables
        self._full = tuple([variable.full for variable in variables])
        self._unexamined = _unexamined(self._full, table, subjects)

    def problems(self, instance: Instance, rule: CompiledRule) -> Iterator[PackProblem]:
        """Yield what is wrong with one rule's condition."""
        document, path, shape = instance.rule.document, instance.rule.path, instance.rule.shape
        if shape.due is not None and shape.when is None:
            return
        where = (*path, "when")
        for code, message in self._faults(rule):
            yield document.problem(where, code, message)
        if shape.unless is not None and self._is_constant(rule.replacements[-1]):
            message = "this condition holds always or never, whatever is found"
            yield document.problem((*path, "unless"), "condition-constant", message)
        for message in check_limits(rule, self._variables, self._full):
            yield document.problem(where, "second-reader", message)

    def _faults(self, rule: CompiledRule) -> Iterator[tuple[str, str]]:
        """Yield the first of these faults as code and message; each would bring the next along."""
        if _never(normal_form(AllOf((rule.applies, rule.when)), self._full)):
            yield "condition-constant", "this condition can never hold: two tests of it exclude each other"
        elif _always(rule.when, self._variables):
            yield "condition-constant", "this condition always holds once its finding is recorded"
        elif evaluate(rule.when, self._unexamined).must:
            yield "fires-unexamined", "this rule fires though nothing was found; test for a value that was seen"

    def _is_constant(self, node: Node) -> bool:
        return _never(node) or _always(node, self._variables)


def _unexamined(full: Sequence[State], table: VariableTable, subjects: Subjects) -> list[State]:
    """Return the states in which guarded findings do not apply, conclusions are false, and all else is unknown."""
    states = list(full)
    for k, entry in enumerate(table.entries):
        shape = subjects.findings.get(entry.view.subject)
        if entry.view.subject in subjects.conclusions:
            states[k] = NO
        elif shape is not None and shape.applies_when is not None and entry.kind != "flag":
            states[k] = NA
    return states


def _never(node: Node) -> bool:
    """Whether no value of any variable satisfies a condition in normal form."""
    match node:
        case AllOf(parts):
            return any(map(_never, parts))
        case AnyOf(parts):
            return all(map(_never, parts))
        case Among(_, mask):
            return mask == 0
        case Not():
            raise ValueError("a condition in normal form has no negation")


def _always(node: Node, variables: Sequence[Variable]) -> bool:
    """Whether every value satisfies a condition in normal form, "does not apply" aside."""
    match node:
        case AllOf(parts):
            return all(_always(part, variables) for part in parts)
        case AnyOf(parts):
            return any(_always(part, variables) for part in parts)
        case Among(var, mask):
            aside = NA if variables[var].atoms[0] == DOES_NOT_APPLY else 0
            return mask | aside == variables[var].full
        case Not():
            raise ValueError("a condition in normal form has no negation")


def check_sides(instances: Sequence[Instance], rules: Sequence[CompiledRule]) -> Iterator[PackProblem]:
    """Yield the rules for each side in which nothing has a side."""
    for left, right, left_rule, right_rule in zip(instances, instances[1:], rules, rules[1:], strict=False):
        both_sides = left.side == "left" and right.rule is left.rule
        if both_sides and (left_rule.applies, left_rule.when) == (right_rule.applies, right_rule.when):
            message = "'each: side', but no test of this rule is on a finding that has sides"
            yield left.rule.document.problem((*left.rule.path, "each"), "side-missing", message)
