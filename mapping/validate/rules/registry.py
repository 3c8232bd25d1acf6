"""Where each invariant is written down under its published key, and how rules look into a node.

A rule gets one object of the path it is registered for and answers ``None`` or one sentence: what is wrong and
what would be right. Objects may be malformed in any way: ``objects``, ``strings`` and ``number`` pass over what
is of the wrong kind, as the schema check has named it already.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from layette.mapping.validate.rules.issue import Severity

Node = dict[str, Any]
Test = Callable[[Node], str | None]

UCUM = "http://unitsofmeasure.org"


@dataclass(frozen=True, slots=True)
class Rule:
    """One invariant on one path; ``at`` is the element that its issue points at, empty for the object itself."""

    key: str
    path: str
    test: Test
    at: str = ""
    severity: Severity = "error"


RULES: dict[str, list[Rule]] = {}
"""Path -> its rules. ``DomainResource`` stands for every resource that may hold others."""

UNDOMAINED = frozenset({"Binary", "Bundle", "Parameters"})
"""The resources that are no DomainResource: they have neither narrative nor contained resources."""


def rule(key: str, *where: str, at: str = "", severity: Severity = "error") -> Callable[[Test], Test]:
    """Register a test under its published key for some paths."""

    def register(test: Test) -> Test:
        for path in where:
            RULES.setdefault(path, []).append(Rule(key, path, test, at, severity))
        return test

    return register


def rules_for(path: str, resource: bool) -> tuple[Rule, ...]:
    """Return the rules of one path, with those of every domain resource where it is one."""
    shared = RULES.get("DomainResource", []) if resource and path not in UNDOMAINED else []
    return (*RULES.get(path, ()), *shared)


def keys() -> frozenset[tuple[str, str]]:
    """Return (path, key) of every registered rule."""
    return frozenset((one.path, one.key) for rules in RULES.values() for one in rules)


def has(node: Node, name: str) -> bool:
    """Return whether an element is there, by value or by extension alone; ``value[x]`` asks for any type."""
    if name[-3:] != "[x]":
        return name in node or f"_{name}" in node
    stem, length = name[:-3], len(name) - 3
    for key in node:
        begin = 1 if key[:1] == "_" else 0
        if key.startswith(stem, begin) and key[begin + length : begin + length + 1].isupper():
            return True
    return False


def objects(node: Node, name: str) -> Iterator[Node]:
    """Yield the objects of one element, be it a list or a single one."""
    value = node.get(name)
    for item in value if isinstance(value, list) else [value]:
        if isinstance(item, dict):
            yield item


def strings(node: Node, name: str) -> Iterator[str]:
    """Yield the strings of one element, be it a list or a single one."""
    value = node.get(name)
    for item in value if isinstance(value, list) else [value]:
        if isinstance(item, str):
            yield item


def string(node: Node, name: str) -> str:
    """Return the string of one element, empty if there is none."""
    value = node.get(name)
    return value if isinstance(value, str) else ""


def number(node: Node, name: str) -> int | Decimal | None:
    """Return the number of one element, ``None`` if there is none."""
    value = node.get(name)
    if isinstance(value, float):
        return Decimal(repr(value)) if value == value else None
    return value if isinstance(value, (int, Decimal)) and not isinstance(value, bool) else None


def coded(node: Node, name: str, system: str, *codes: str) -> bool:
    """Return whether a CodeableConcept (or one of several) carries one of ``codes`` of ``system``."""
    return any(
        string(coding, "system") == system and string(coding, "code") in codes
        for concept in objects(node, name)
        for coding in objects(concept, "coding")
    )
