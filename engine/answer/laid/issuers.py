"""The rules of one issuer, which are read on its lines of treatment alone, laid out once a pack."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from layette.engine.pack.written.rule_shapes import RuleShape
from layette.engine.pack.written.written import Instance, SetGuards


class OfASet(NamedTuple):
    """A rule that is read where a setting has one of some choices."""

    shape: RuleShape
    setting: str
    choices: tuple[str, ...]


def of_a_set(instances: Iterable[Instance], guards: SetGuards) -> tuple[OfASet, ...]:
    """Return these rules in the order of the program."""
    shapes = [one.rule.shape for one in instances]
    return tuple(OfASet(shape, *guards[shape.id]) for shape in shapes if shape.id in guards)
