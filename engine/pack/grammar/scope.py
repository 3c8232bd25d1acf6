"""Where a condition is read: the names that it may use, the variables that it numbers, and who is told of mistakes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from layette.engine.logic.conditions import AllOf, Node
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.yaml_nodes import Path

Report = Callable[[Path, str, str], None]
"""Called with (path, code, message) for each mistake."""

HOLDS: Node = AllOf(())
"""What stands for a condition that is not there, or that cannot be read and was reported."""


@dataclass(frozen=True, slots=True)
class Scope:
    """What the parts of the grammar share while they read the conditions of one rule or finding."""

    subjects: Subjects
    table: VariableTable
    report: Report
