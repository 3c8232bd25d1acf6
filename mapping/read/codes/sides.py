"""Which side of the body an Observation is about, and by which way it was measured."""

from __future__ import annotations

from typing import Any

from layette.mapping.codes import SYSTEMS, display
from layette.mapping.read.bundle.parts import Resource, codings, items, words
from layette.mapping.read.codes.amounts import Unclear, Wrong
from layette.mapping.read.codes.index import CodeMeaning, Finding, qualifiers_in
from layette.mapping.read.codes.spoken import side_in

_SNOMED = SYSTEMS["snomed"]
_SIDES = ("left", "right", "both")
_LATERALITY = {"7771000": "left", "24028007": "right", "51440002": "both"}


def sides(
    finding: Finding, meaning: CodeMeaning, resource: Resource, holder: Resource, base: str
) -> tuple[str | None, ...] | Wrong | Unclear:
    """Return the sides that are meant; ``(None,)`` for a finding that has none.

    A side comes from the code, or from bodySite: laterality codes, our own, or the words left, right, both.
    """
    if not finding.sides:
        return (None,)
    named = {meaning.side} if meaning.side else set()
    named |= body_sides(resource.get("bodySite"), base)
    if holder is not resource:
        named |= body_sides(holder.get("bodySite"), base)
    if len(named) > 1:
        return Wrong("contradiction", "two different sides", ", ".join(sorted(named)), "one side", ".bodySite")
    if not named:
        return Unclear("no side is given, and this finding needs one (bodySite left, right or both)")
    return _meant(finding, named.pop())


def _meant(finding: Finding, side: str) -> tuple[str | None, ...] | Wrong:
    if side == "both":
        return finding.sides
    if side not in finding.sides:
        return Wrong("side", "a side that this finding does not have", side, " or ".join(finding.sides), ".bodySite")
    return (side,)


def body_sides(site: object, base: str) -> set[str]:
    """Return the sides that a bodySite (one, or a list) names: by code, else by its words."""
    found: set[str] = set()
    for one in items(site):
        given = codings(one)
        coded = {side for system, code, _ in given if (side := _coded_side(system, code, base))}
        found |= coded or side_in([*words(one), *(display(system, code) or "" for system, code, _ in given)])
    return {"both"} if found >= {"left", "right"} else found


def _coded_side(system: str, code: str, base: str) -> str | None:
    if system == _SNOMED:
        return _LATERALITY.get(code)
    return code if code in _SIDES and system.startswith(f"{base}/") else None


def qualifiers(finding: Finding, meaning: CodeMeaning, resource: Resource, base: str) -> dict[str, Any]:
    """Return the qualifiers (such as a route) that the code, the method or the body site name plainly."""
    if not finding.shape.qualifier:
        return {}
    said = [word for key in ("method", "bodySite") for concept in items(resource.get(key)) for word in words(concept)]
    for key in ("method", "bodySite"):
        for concept in items(resource.get(key)):
            said += [code for system, code, _ in codings(concept) if system.startswith(f"{base}/")]
    named = {name: values for name, values in qualifiers_in(finding, said).items() if values}
    for name, value in meaning.said:
        named.setdefault(name, set()).add(value)
    for system, code, _ in codings(resource.get("code")):
        for name, values in qualifiers_in(finding, [display(system, code) or ""]).items():
            named.setdefault(name, set()).update(values)
    return {name: values.pop() for name, values in named.items() if len(values) == 1}
