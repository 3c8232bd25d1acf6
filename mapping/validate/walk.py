"""One walk over a resource that is not plainly right, each node once, with all that its type asks for.

The walk judges what the published JSON Schema leaves open; what is of the wrong kind it passes over where the
schema speaks, and names itself where the schema is silent (an object's place taken by a string).
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, field
from typing import Any

from layette.mapping.fhir.types import resource_types
from layette.mapping.validate.plain import plain_resource
from layette.mapping.validate.rules.bundle import entry_issues, full_urls
from layette.mapping.validate.rules.coded import absolute
from layette.mapping.validate.rules.issue import At, Issue, issue
from layette.mapping.validate.rules.narrative import pointed_at, problem
from layette.mapping.validate.rules.references import Holder, reference_issues
from layette.mapping.validate.rules.registry import UCUM, UNDOMAINED, Node, has, objects, string
from layette.mapping.validate.rules.shapes import QUANTITIES, Shape, Slot, shape
from layette.mapping.validate.rules.units import is_ucum
from layette.mapping.validate.rules.vital_signs import vital_sign_issues
from layette.mapping.validate.schema import schema_issues


@dataclass(slots=True)
class Walk:
    """One run of the validator: the issues so far, and the fullUrls of the Bundle around the present place."""

    advice: bool
    issues: list[Issue] = field(default_factory=list)
    urls: dict[str, str] | None = None

    def resource(self, resource: Any, at: At, holder: Holder | None = None) -> None:
        """Check one resource and all inside it; ``holder`` is the resource that contains it, if any."""
        if not isinstance(resource, dict):
            self._add(at, "type", "A resource is due here, an object with resourceType.")
            return
        kind = resource.get("resourceType")
        if not isinstance(kind, str) or kind not in resource_types():
            self._add((at, "resourceType", -1), "resource-type", "This should name a resource type of R4.")
            return
        if holder is None and not self.advice and plain_resource(resource, self.urls):
            return
        start = len(self.issues)
        outer = self.urls
        if kind == "Bundle":
            self.urls = full_urls(resource)
        self._whole(resource, kind, at, holder or Holder(_contained(resource)), holder is not None)
        self.urls = outer
        own = {(told.path, told.key) for told in self.issues[start:]}
        for told in schema_issues(resource, kind, at):
            if (told.path, told.key) not in own:
                self.issues.append(told)

    def _whole(self, resource: Node, kind: str, at: At, holder: Holder, inner: bool) -> None:
        self._node(resource, shape(kind), at, holder)
        if kind == "Bundle":
            self.issues += entry_issues(resource, at)
        elif kind == "Observation":
            self.issues += vital_sign_issues(resource, at)
        if kind not in UNDOMAINED:
            self._domain(resource, at, holder, inner)

    def _domain(self, resource: Node, at: At, holder: Holder, inner: bool) -> None:
        """Check what dom-2 to dom-6 say about a resource and what it contains."""
        if inner:
            if has(resource, "contained"):
                self._add((at, "contained", -1), "dom-2", "A contained resource contains none; lift it one level up.")
            return
        if self.advice and not any(has(text, "div") for text in objects(resource, "text")):
            self._add((at, "text", -1), "dom-6", "A narrative should say what the resource holds.", "warning")
        contained = resource.get("contained")
        if isinstance(contained, list):
            before: set[str] = set()
            for index, inside in enumerate(contained):
                if isinstance(inside, dict):
                    self._contained(inside, (at, "contained", index), holder, before)
                    before.add(string(inside, "id"))

    def _contained(self, resource: Node, at: At, holder: Holder, before: Container[str]) -> None:
        name = string(resource, "id")
        if not name:
            self._add((at, "id", -1), "contained-id", "A contained resource needs an id to be referred to.")
        elif name in before:
            self._add((at, "id", -1), "contained-id", "Two contained resources have this id; each needs its own.")
        elif name not in holder.used:
            self._add(at, "dom-3", f"Nothing in the resource refers to #{name[:64]}; refer to it or take it out.")
        for meta in objects(resource, "meta"):
            if has(meta, "versionId") or has(meta, "lastUpdated"):
                self._add((at, "meta", -1), "dom-4", "A contained resource has no versionId and no lastUpdated.")
            if has(meta, "security"):
                self._add((at, "meta", -1), "dom-5", "A contained resource has no security label of its own.")

    def _node(self, node: Node, form: Shape, at: At, holder: Holder, valued: bool = False) -> None:
        """Check one object of a type; ``valued`` says that it only extends a primitive that has a value."""
        slots = form.slots
        chosen: dict[str, str] | None = None
        for name, value in node.items():
            slot = slots.get(name)
            if slot is None:
                continue
            if slot.choice:
                chosen = chosen or {}
                if chosen.setdefault(slot.choice, slot.bare) != slot.bare:
                    message = f"Only one type of {slot.choice}[x] may be given; {chosen[slot.choice]} is there too."
                    self._add((at, name, -1), "choice", message)
            if not slot.many:
                self._value(value, slot, (at, name, -1), holder, node, form)
            elif type(value) is list:
                self._list(value, slot, at, holder, node, form)
            elif value is None:
                self._add((at, name, -1), "null", "A null stands for nothing; leave the element out.")
        self._demands(node, form, at)
        if not form.resource and not valued and len(node) < 2 and ("id" in node or not node):
            self._add(at, *_hollow(node))

    def _demands(self, node: Node, form: Shape, at: At) -> None:
        for name, names, types in form.needs:
            if names.isdisjoint(node):
                self._add((at, name, -1), "required", f"{name} is missing; R4 demands it ({types[:80]}).")
        for rule in form.rules:
            message = rule.test(node)
            if message is not None:
                self._add((at, rule.at, -1) if rule.at else at, rule.key, message, rule.severity)

    def _list(self, values: list[Any], slot: Slot, at: At, holder: Holder, node: Node, form: Shape) -> None:
        if not values:
            self._add((at, slot.name, -1), "empty", "An empty list stands for nothing; leave the element out.")
        if slot.kind == "companion" and isinstance(node.get(slot.bare), list) and len(node[slot.bare]) != len(values):
            message = f"{slot.name} and {slot.bare} are read side by side and must be of one length."
            self._add((at, slot.name, -1), "pairing", message)
        for index, value in enumerate(values):
            self._value(value, slot, (at, slot.name, index), holder, node, form)

    def _value(self, value: Any, slot: Slot, at: At, holder: Holder, node: Node, form: Shape) -> None:
        kind = slot.kind
        if value is None:
            if not (slot.many and kind in ("primitive", "companion") and _paired(node, slot, at[2])):
                self._add(at, "null", "A null stands for nothing; leave it out.")
        elif kind == "primitive":
            self._primitive(value, slot, at, holder)
        elif kind == "xhtml":
            self._narrative(value, at, holder)
        elif kind == "resource":
            contained = slot.name == "contained"
            if contained and isinstance(value, dict):
                holder.inside = string(value, "id")
            self.resource(value, at, holder if contained else None)
            holder.inside = "" if contained else holder.inside
        elif type(value) is not dict:
            if type(value) is not list or slot.many:
                self._add(at, "type", f"An object of type {slot.type} is due here, in braces.")
            else:
                self._add(at, "type", "One object is due here, not a list.")
        else:
            self._object(value, slot, at, holder, node, form)

    def _narrative(self, value: Any, at: At, holder: Holder) -> None:
        if not isinstance(value, str):
            self._add(at, "type", "A narrative is a string that holds one div.")
            return
        for name in pointed_at(value):
            holder.use(name)
        wrong = problem(value)
        if wrong:
            self._add(at, *wrong)

    def _primitive(self, value: Any, slot: Slot, at: At, holder: Holder) -> None:
        if slot.check is not None:
            found = slot.check(value)
            if found is not None:
                self._add(at, *found)
                return
        if slot.codes is not None and type(value) is str and value not in slot.codes:
            self._add(at, "binding", _not_in(slot))
        if slot.local and type(value) is str and value[:1] == "#":
            holder.use(value[1:])

    def _object(self, value: Node, slot: Slot, at: At, holder: Holder, node: Node, form: Shape) -> None:
        self._node(value, shape(slot.type), at, holder, slot.kind == "companion" and _has_value(node, slot, at[2]))
        if slot.type == "Reference":
            self.issues += reference_issues(value, slot, at, holder, self.urls)
        elif slot.type in QUANTITIES:
            self._quantity(value, slot, at)
        elif slot.type == "Extension" and form.name != "Extension" and not absolute(string(value, "url") or "a:b"):
            self._add((at, "url", -1), "absolute-uri", "The url of an extension is absolute, except inside another.")
        elif slot.codes is not None:
            self._concept(value, slot, at)

    def _quantity(self, value: Node, slot: Slot, at: At) -> None:
        if slot.simple and has(value, "comparator"):
            self._add((at, "comparator", -1), "comparator", "R4 allows no comparator here; give a plain quantity.")
        code = value.get("code")
        if type(code) is str and value.get("system") == UCUM:
            known = is_ucum(code)
            if known is False:
                self._add((at, "code", -1), "unit", "This is no UCUM code; UCUM writes kg, g, cm, Cel, /min, mg/dL.")
            elif known is None:
                message = (
                    "This UCUM code is not common and was not checked: install ucumvert, which belongs to Layette."
                )
                self._add((at, "code", -1), "unit-unchecked", message, "information")

    def _concept(self, value: Node, slot: Slot, at: At) -> None:
        """Check a Coding or CodeableConcept that R4 binds to a closed set."""
        codings = list(objects(value, "coding")) if slot.type == "CodeableConcept" else [value]
        if slot.codes is not None and not any(string(coding, "code") in slot.codes for coding in codings):
            self._add(at, "binding", _not_in(slot))

    def _add(self, at: At, key: str, message: str, severity: Any = "error") -> None:
        self.issues.append(issue(at, key, message, severity))


def _contained(resource: Node) -> dict[str, str]:
    return {string(one, "id"): string(one, "resourceType") for one in objects(resource, "contained")}


def _hollow(node: Node) -> tuple[str, str]:
    if node:
        return "ele-1", "An element with an id only holds nothing; give it a value, an extension or leave it out."
    return "empty", "An empty object stands for nothing; leave the element out."


def _paired(node: Node, slot: Slot, index: int) -> bool:
    """Return whether the other list of a primitive and its extensions has something at ``index``."""
    other = node.get(slot.bare if slot.kind == "companion" else f"_{slot.name}")
    return isinstance(other, list) and index < len(other) and other[index] is not None


def _has_value(node: Node, slot: Slot, index: int) -> bool:
    """Return whether the primitive that a companion extends has a value, at ``index`` of its list."""
    value = node.get(slot.bare)
    if slot.many:
        return isinstance(value, list) and index < len(value) and value[index] is not None
    return value is not None


def _not_in(slot: Slot) -> str:
    codes = sorted(slot.codes or ())
    listed = ", ".join(codes) if len(codes) <= 30 else f"a code of {slot.value_set}"
    return f"This should be {'one of ' if len(codes) <= 30 else ''}{listed}."
