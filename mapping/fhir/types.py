"""What FHIR R4 types are made of: their elements in order, as the published JSON Schema gives them.

``schemas/fhir/definitions.json`` is that schema without its prose, one definition a line, so that only the
types at hand are ever parsed. A definition is named as there: ``Observation``, ``Observation_Component``,
``Quantity``. Where the schema leaves out what R4 has, ``AMENDMENTS`` says so.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

DATA = Path(__file__).resolve().parents[2] / "schemas" / "fhir"
"""Where the published schema and the tables lie: beside this package, in a checkout as in an installation."""

_PRIMITIVES = (
    "base64Binary boolean canonical code date dateTime decimal id instant integer markdown oid "
    "positiveInt string time unsignedInt uri url uuid"
)
PRIMITIVES = frozenset(_PRIMITIVES.split())
"""The primitive types: in JSON a bare string, number or boolean."""

AMENDMENTS: Mapping[str, tuple[str, str]] = {
    "ElementDefinition": ("defaultValueDosage fixedDosage patternDosage", "Meta"),
    "ElementDefinition_Example": ("valueDosage", "Meta"),
    "Extension": ("valueDosage", "Meta"),
    "Parameters_Parameter": ("valueDosage", "Meta"),
    "StructureMap_Source": ("defaultValueDosage", "Meta"),
    "Task_Input": ("valueDosage", "Meta"),
    "Task_Output": ("valueDosage", "Meta"),
}
"""Definition -> (elements after which one of type Meta follows, its type): the schema forgot these choices."""


@dataclass(frozen=True, slots=True)
class Element:
    """One element of a type. ``choice`` is ``value`` for ``valueQuantity`` (FHIR's ``value[x]``), else empty."""

    name: str
    type: str
    many: bool
    choice: str = ""

    @property
    def primitive(self) -> bool:
        """Whether the value is a bare string, number or boolean, with its extensions under ``_name``."""
        return self.type in PRIMITIVES


@cache
def _lines() -> Mapping[str, str]:
    """Definition name -> its JSON text, unparsed."""
    text = (DATA / "definitions.json").read_text("utf-8")
    split = (line.rstrip(",").split(":", 1) for line in text.split("\n") if line.startswith('"'))
    return {name[1:-1]: body for name, body in split}


@cache
def definition(name: str) -> Mapping[str, Any]:
    """Return the JSON Schema of definition ``name``, amended; ``KeyError`` if R4 has no such type."""
    body: dict[str, Any] = json.loads(_lines()[name])
    if name in AMENDMENTS:
        after, added = AMENDMENTS[name]
        for element in after.split():
            body["properties"][element.removesuffix("Dosage") + added] = {"$ref": f"#/definitions/{added}"}
    return body


def known(name: str) -> bool:
    """Return whether R4 defines a type or part of a type called ``name``."""
    return name in _lines()


@cache
def resource_types() -> frozenset[str]:
    """Return the names of all 146 resource types."""
    return frozenset(name for name, body in _lines().items() if '"resourceType":{"const"' in body)


@cache
def type_names() -> frozenset[str]:
    """Return the names of all types that are no part of another: resources, data types and primitives."""
    return frozenset(name for name in _lines() if "_" not in name) - {"ResourceList"}


@cache
def elements(name: str) -> Mapping[str, Element]:
    """Return the elements of definition ``name`` by JSON name, in the order in which XML writes them.

    ``resourceType`` and the ``_name`` companions of primitives are left out.
    """
    by_name: dict[str, Element] = {}
    choices = _choices(name)
    for key, schema in _in_order(name):
        if key.startswith("_") or "const" in schema:
            continue
        many = schema.get("type") == "array"
        kind = _type_of(key, schema["items"] if many else schema, choices)
        by_name[key] = Element(key, kind, many, choices.get(key, ""))
    return by_name


def _in_order(name: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield the properties of a definition, each amended one in its place after the choice before it."""
    properties: Mapping[str, Any] = definition(name).get("properties", {})
    after, added = AMENDMENTS.get(name, ("", ""))
    late = {element.removesuffix("Dosage") + added for element in after.split()}
    for key, schema in properties.items():
        if key not in late:
            yield key, schema
        if key in after.split():
            amended = key.removesuffix("Dosage") + added
            yield amended, properties[amended]


def _type_of(key: str, schema: Mapping[str, Any], choices: Mapping[str, str]) -> str:
    """Return the type of one element; choices among primitives carry it in their name, enumerations are codes."""
    if "$ref" in schema:
        return str(schema["$ref"]).rpartition("/")[2]
    if "enum" in schema:
        return "code"
    suffix = key[len(choices[key]) :]
    return suffix[0].lower() + suffix[1:]


@cache
def paths(root: str) -> Mapping[str, str]:
    """Return definition name -> path of its first place in type ``root``, ``Observation_Component`` -> its path."""
    places = {root: root}
    queue = [root]
    while queue:
        name = queue.pop(0)
        properties: Mapping[str, Any] = definition(name).get("properties", {})
        for key, schema in properties.items():
            part = str(schema.get("items", schema).get("$ref", "")).rpartition("/")[2]
            if part.startswith(f"{root}_") and part not in places:
                places[part] = f"{places[name]}.{key}"
                queue.append(part)
    return places


@cache
def _choice_table() -> Mapping[str, tuple[str, ...]]:
    return {row["path"]: tuple(row["types"].split()) for row in table("choice_elements.csv")}


@cache
def _choices(name: str) -> Mapping[str, str]:
    """Return JSON name -> stem for every choice element of a definition."""
    at = paths(name.partition("_")[0]).get(name, name)
    found: dict[str, str] = {}
    for path, types in _choice_table().items():
        parent, _, last = path.rpartition(".")
        if parent == at:
            stem = last.removesuffix("[x]")
            found |= {stem + kind[0].upper() + kind[1:]: stem for kind in types}
    return found


def table(name: str) -> list[dict[str, str]]:
    """Return the rows of ``schemas/fhir/<name>``, a CSV whose first line says where it comes from."""
    text = (DATA / name).read_text("utf-8")
    head, *rows = csv.reader(line for line in text.splitlines() if not line.startswith("#"))
    return [dict(zip(head, row, strict=True)) for row in rows if row]
