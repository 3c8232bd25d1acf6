"""Whether what rules replace hangs together: rules that exist, in no ring, and nothing that resolution does anyway."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from layette.engine.errors import PackProblem, near
from layette.engine.pack.checks.rings import in_rings
from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.written import Instance, Written
from layette.engine.terms import Kind


@dataclass(frozen=True, slots=True)
class _Replacing:
    """What one rule replaces, and the rank of its priority for each verb and target (0 is stat)."""

    shape: RuleShape
    replaces: frozenset[str]
    ranks: Mapping[tuple[Kind, str], int]


def check_replacements(instances: Sequence[Instance]) -> Iterator[PackProblem]:
    """Yield what is wrong with `instead_of`: unknown, a ring, on a conclusion, needless, or incomplete."""
    rules = {instance.rule.shape.id: instance.rule for instance in instances}
    rings = in_rings({name: rule.shape.instead_of for name, rule in rules.items()})
    replacing = {name: _replacing(rule.shape) for name, rule in rules.items()}
    for name, rule in rules.items():
        if name in rings:
            message = "this rule replaces itself by way of others"
            yield rule.document.problem((*rule.path, "instead_of"), "cycle", message)
        else:
            yield from _faults(rule, replacing)


def _replacing(shape: RuleShape) -> _Replacing:
    ranks = {(then.verb, then.target): then.rank for then in shape.then if then.verb is not None}
    return _Replacing(shape, frozenset(shape.instead_of), ranks)


def _faults(rule: Written, replacing: Mapping[str, _Replacing]) -> Iterator[PackProblem]:
    where = (*rule.path, "instead_of")
    for name in rule.shape.instead_of:
        if name not in replacing:
            yield rule.document.problem(
                where, "unknown-rule", f"there is no rule '{name}' to replace{near(name, replacing)}"
            )
            continue
        for message in _between(replacing[rule.shape.id], replacing[name]):
            yield rule.document.problem(where, "replacement", message)


def _between(replacer: _Replacing, replaced: _Replacing) -> Iterator[str]:
    """Yield what is wrong with one rule in the place of another."""
    name = replaced.shape.id
    if any(consequence.conclude for consequence in replaced.shape.then):
        yield f"'{name}' concludes something; a conclusion cannot be replaced"
    missing = [other for other in replaced.shape.instead_of if other not in replacer.replaces]
    if missing:
        yield f"'{name}' itself replaces {', '.join(missing)}; name these too"
    mine, theirs = replacer.ranks, replaced.ranks
    if theirs and all(target in mine and mine[target] <= rank for target, rank in theirs.items()):
        yield f"needless: resolution already prefers this rule over '{name}' on the same target"
