"""What the walk needs to know about each type, put together once from the schema and the tables.

A ``Shape`` is one definition (``Observation``, ``Observation_Component``, ``Quantity``); a ``Slot`` is one JSON
name in it. The tables are keyed by path (``CarePlan.activity.detail.status``) and fastened to definitions here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

from layette.mapping.fhir.types import PRIMITIVES, Element, elements, paths, resource_types, table, type_names
from layette.mapping.validate.rules.primitives import CHECKS, Check, element_id
from layette.mapping.validate.rules.registry import Rule, rules_for

_ABSTRACT = frozenset({"Resource", "DomainResource"})
_OTHERS = frozenset({"BackboneElement", "MoneyQuantity", "SimpleQuantity", "xhtml"})
_TYPES = type_names() | PRIMITIVES | _ABSTRACT | _OTHERS

OPEN_SETS: Mapping[str, frozenset[str]] = {
    "http://hl7.org/fhir/ValueSet/resource-types": resource_types() | _ABSTRACT,
    "http://hl7.org/fhir/ValueSet/defined-types": _TYPES,
    "http://hl7.org/fhir/ValueSet/all-types": _TYPES | {"Any", "Type"},
}
"""Value sets that the tables give by name only because another table holds their codes."""

QUANTITIES = frozenset({"Quantity", "Age", "Count", "Distance", "Duration"})
"""The types that are a value with a unit."""

LOCAL = frozenset({"canonical", "uri", "url"})
"""Primitive types that may point at a contained resource by ``#id``."""


@dataclass(slots=True)
class Slot:
    """One JSON name of a type; ``quick`` if it is a single primitive.

    ``kind`` is ``primitive``, ``companion``, ``object``, ``resource`` or ``xhtml``.
    """

    name: str
    bare: str
    kind: str
    type: str
    many: bool
    choice: str = ""
    check: Check | None = None
    codes: frozenset[str] | None = None
    value_set: str = ""
    targets: frozenset[str] | None = None
    simple: bool = False
    local: bool = False
    quick: bool = False


@dataclass(slots=True)
class Shape:
    """One definition: its slots by JSON name, what must be there, and the invariants that are checked on it."""

    name: str
    slots: dict[str, Slot]
    needs: list[tuple[str, frozenset[str], str]] = field(default_factory=list)
    rules: tuple[Rule, ...] = ()
    resource: bool = False


@cache
def shape(name: str) -> Shape:
    """Return the shape of definition ``name``; ``KeyError`` if R4 has no such type."""
    slots: dict[str, Slot] = {}
    for element in elements(name).values():
        slots[element.name] = _slot(element)
        if element.primitive:
            companion = f"_{element.name}"
            slots[companion] = Slot(companion, element.name, "companion", "Element", element.many, element.choice)
    for slot in slots.values():
        slot.quick = slot.kind == "primitive" and not slot.many
    made = Shape(name, slots, resource=name in resource_types())
    at = path_of(name)
    _fasten(made, at)
    made.rules = rules_for(at, made.resource)
    return made


def path_of(name: str) -> str:
    """Return the path under which the tables list definition ``name``."""
    return paths(name.partition("_")[0]).get(name, name)


def _slot(element: Element) -> Slot:
    special = {"ResourceList": "resource", "xhtml": "xhtml"}
    kind = "primitive" if element.primitive else special.get(element.type, "object")
    check = CHECKS.get(element.type) if element.primitive else None
    if element.name == "id" and element.type == "string":
        check = element_id
    local = element.type in LOCAL
    return Slot(element.name, element.name, kind, element.type, element.many, element.choice, check, local=local)


def _fasten(form: Shape, at: str) -> None:
    """Give a shape its rows of the tables."""
    for row in _rows("mandatory_elements.csv", "mandatory_elements_rest.csv").get(at, ()):
        last = row["path"].rpartition(".")[2]
        names = frozenset(slot.name for slot in _matching(form, last))
        form.needs.append((last, names, row["types"]))
    for row in _rows("required_bindings.csv", "required_bindings_rest.csv").get(at, ()):
        codes = frozenset(row["codes"].split()) or OPEN_SETS.get(row["value_set"])
        for slot in _matching(form, row["path"].rpartition(".")[2]):
            if slot.kind != "companion":
                slot.codes, slot.value_set = codes, row["value_set"]
    for row in _rows("reference_targets.csv").get(at, ()):
        for slot in _matching(form, row["path"].rpartition(".")[2]):
            if slot.type == "Reference":
                slot.targets = frozenset(row["targets"].split())
    for row in _rows("simple_quantities.csv").get(at, ()):
        for slot in _matching(form, row["path"].rpartition(".")[2]):
            slot.simple = slot.type == "Quantity"


def _matching(found: Shape, last: str) -> list[Slot]:
    """Return the slots that the last part of a path means; ``value[x]`` means all its types and companions."""
    if last.endswith("[x]"):
        return [slot for slot in found.slots.values() if slot.choice == last[:-3]]
    return [slot for slot in found.slots.values() if slot.bare == last]


@cache
def _rows(*names: str) -> Mapping[str, list[dict[str, str]]]:
    """Return the rows of some tables by the path of the parent; later tables add to earlier ones."""
    found: dict[str, list[dict[str, str]]] = {}
    for name in names:
        for row in table(name):
            found.setdefault(row["path"].rpartition(".")[0], []).append(row)
    return found
