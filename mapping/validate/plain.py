"""Whether a resource is right as far as one look tells: yes or no, without a path and without a sentence.

Nearly every resource that comes in is right, and every one that goes out. Each type becomes one function that asks what
the walk asks, and says no as well where it does not know, such as of the extensions in a list of primitives. Then the
walk finds out. The schema is asked first, so that a look may take it that what is no object is of the kind that is due.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from layette.mapping.fhir.types import resource_types
from layette.mapping.validate.rules.bundle import entry_issues, full_urls, plain_entries
from layette.mapping.validate.rules.coded import absolute
from layette.mapping.validate.rules.narrative import problem
from layette.mapping.validate.rules.primitives import plain_text, text
from layette.mapping.validate.rules.references import plainly_right
from layette.mapping.validate.rules.registry import UCUM, Node
from layette.mapping.validate.rules.shapes import QUANTITIES, Shape, Slot, shape
from layette.mapping.validate.rules.units import is_ucum
from layette.mapping.validate.rules.vital_signs import vital_sign_issues
from layette.mapping.validate.schema import validator

_ROOT = (None, "", -1)
_ALIKE = frozenset({"CodeableConcept", "Coding"})
"""Types of which the same few values come again and again, and whose parts look at nothing around them."""
_LOOKS_AROUND = ("'#", '"#', "xtension'", "'reference'")
"""What would make such a part look at the resource around it all the same, as it stands in its repr."""
_KNOWN: set[tuple[str, int]] = set()
"""Types and hashes of such parts in which nothing was found wrong; of the parts themselves nothing is kept."""
_MOST_KNOWN = 20_000
_PATTERNED = frozenset({"code", "id", "oid"})
"""Primitive types whose pattern in the schema lets nothing blank pass."""


@dataclass(slots=True)
class Around:
    """What a look must know of its surroundings.

    ``urls`` maps the fullUrls of the Bundle to resource types, ``None`` outside of one; ``contained`` the ids of what
    the resource contains; ``used`` are those of them that something refers to.
    """

    urls: Mapping[str, str] | None
    contained: Mapping[str, str]
    used: set[str] = field(default_factory=set)


Right = Callable[[Any], bool]
Look = Callable[[Any, Around], bool]


def plain_resource(resource: Node, urls: Mapping[str, str] | None) -> bool:
    """Return whether a resource is surely right, with all inside it; ``False`` says only that it is not sure."""
    if not _of_schema(resource):
        return False
    inner = resource.get("contained", [])
    if not all(map(_may_be_inside, inner)):
        return False
    bundle = resource["resourceType"] == "Bundle"
    around = Around(full_urls(resource) if bundle else urls, {one["id"]: one["resourceType"] for one in inner})
    if not _resource(resource, around) or not all(_inside(one, around) for one in inner):
        return False
    if bundle and not plain_entries(resource) and next(entry_issues(resource, _ROOT), None) is not None:
        return False
    return len(inner) == len(around.contained) == len(around.used & around.contained.keys())


def _of_schema(resource: Any) -> bool:
    kind = resource.get("resourceType") if type(resource) is dict else None
    return type(kind) is str and kind in resource_types() and validator(kind).is_valid({kind: resource})


def _may_be_inside(resource: Node) -> bool:
    named = type(resource.get("id")) is type(resource.get("resourceType")) is str
    return named and not {"meta", "contained"}.intersection(resource)


def _resource(resource: Node, around: Around) -> bool:
    kind = resource["resourceType"]
    if kind == "Observation" and next(vital_sign_issues(resource, _ROOT), None) is not None:
        return False
    return _look(kind)(resource, around)


@cache
def _look(name: str) -> Look:
    """Return the function of one definition."""
    return _alike(name, _node(name)) if name in _ALIKE else _node(name)


def _node(name: str) -> Look:
    form = shape(name)
    values = {
        slot.name: _value(slot) for slot in form.slots.values() if slot.quick and not slot.local and not slot.choice
    }
    parts: dict[str, Look] = {"resourceType": _sure, "contained": _some}
    needs = [names for _, names, _ in form.needs]
    rules = [rule.test for rule in form.rules]
    choices = [names for names in _choices(form) if len(names) > 1]

    def look(node: Node, around: Around) -> bool:
        if type(node) is not dict or (len(node) < 2 and (not node or "id" in node)):
            return False
        for key, value in node.items():
            right = values.get(key)
            if right is not None:
                if not right(value):
                    return False
            else:
                part = parts.get(key) or parts.setdefault(key, _part(key, form))
                if not part(value, around):
                    return False
        for names in needs:
            if names.isdisjoint(node):
                return False
        for names in choices:
            if len(names.intersection(node)) > 1:
                return False
        return all(test(node) is None for test in rules)

    return look


def _alike(name: str, whole: Look) -> Look:
    """Return a look that goes by the hash of what it saw before."""

    def look(node: Node, around: Around) -> bool:
        said = repr(node)
        known = (name, hash(said))
        if known in _KNOWN:
            return True
        if not whole(node, around):
            return False
        if not any(sign in said for sign in _LOOKS_AROUND):
            if len(_KNOWN) >= _MOST_KNOWN:
                _KNOWN.clear()
            _KNOWN.add(known)
        return True

    return look


_inside = _alike("contained", lambda one, around: _of_schema(one) and _resource(one, around))


def _choices(form: Shape) -> list[frozenset[str]]:
    """Return the JSON names of each choice of types."""
    found: dict[str, set[str]] = {}
    for slot in form.slots.values():
        if slot.choice and slot.kind != "companion":
            found.setdefault(slot.choice, set()).add(slot.name)
    return [frozenset(names) for names in found.values()]


def _value(slot: Slot) -> Right:
    """Return what one primitive is asked."""
    check, codes = slot.check, slot.codes
    if codes is not None:
        return codes.__contains__
    if check is None:
        return _sure
    if slot.type in _PATTERNED:
        return str.isprintable
    if check is text:
        return plain_text
    return lambda value: check(value) is None


def _sure(*_: Any) -> bool:
    return True


def _some(value: Any, _: Around) -> bool:
    return bool(value)


def _unsure(*_: Any) -> bool:
    return False


def _part(name: str, form: Shape) -> Look:
    """Return what one element is asked that is no single primitive of a fixed type."""
    slot = form.slots.get(name)
    if slot is None or (slot.kind == "companion" and slot.many):
        return _unsure
    if slot.kind == "companion":
        return _look("Element")
    one = _primitive(slot) if slot.kind == "primitive" else _KINDS.get(slot.kind) or _object(slot, form)
    return _each(one) if slot.many else one


def _primitive(slot: Slot) -> Look:
    right = _value(slot)
    if not slot.local:
        return lambda value, _: right(value)

    def look(value: Any, around: Around) -> bool:
        if value[:1] == "#":
            around.used.add(value[1:])
        return right(value)

    return look


def _each(one: Look) -> Look:
    def each(values: Any, around: Around) -> bool:
        for value in values:
            if not one(value, around):
                return False
        return bool(values)

    return each


def _narrative(value: Any, _: Around) -> bool:
    return type(value) is str and problem(value) is None


def _entry_resource(value: Any, around: Around) -> bool:
    return plain_resource(value, around.urls)


_KINDS: Mapping[str, Look] = {"resource": _entry_resource, "xhtml": _narrative}


def _object(slot: Slot, form: Shape) -> Look:
    """Return what an object is asked at one place: what its type asks, and what the place adds."""
    if slot.type == "Reference":
        return _reference(slot)
    if slot.type in QUANTITIES:
        return _quantity(slot)
    whole = _look(slot.type)
    if slot.type == "Extension" and form.name != "Extension":
        return lambda value, around: whole(value, around) and absolute(value.get("url", ""))
    return whole if slot.codes is None else _bound(slot, slot.codes)


def _reference(slot: Slot) -> Look:
    whole, targets = _look("Reference"), slot.targets

    def look(value: Any, around: Around) -> bool:
        text = value.get("reference") if type(value) is dict else None
        if text is None:
            return whole(value, around) and "type" not in value
        if text[:1] == "#":
            around.used.add(text[1:])
            kind = around.contained.get(text[1:])
            right = kind is not None and "type" not in value and (targets is None or kind in targets)
        else:
            right = plainly_right(value, slot, around.urls)
        return right and (len(value) == 1 or whole(value, around))

    return look


def _quantity(slot: Slot) -> Look:
    whole = _look(slot.type)

    def look(value: Any, around: Around) -> bool:
        if not whole(value, around) or (slot.simple and "comparator" in value):
            return False
        return value.get("system") != UCUM or "code" not in value or is_ucum(value["code"]) is True

    return look


def _bound(slot: Slot, codes: frozenset[str]) -> Look:
    whole = _look(slot.type)

    def look(value: Any, around: Around) -> bool:
        if not whole(value, around):
            return False
        codings: list[Node] = value.get("coding", []) if slot.type == "CodeableConcept" else [value]
        return any(coding.get("code") in codes for coding in codings)

    return look
