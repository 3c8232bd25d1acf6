"""Looking into FHIR resources: their nodes, and the codes of our own that stand in them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

Resource = dict[str, Any]
BASE = "https://layette.example/fhir"


def of(resources: list[Resource], kind: str) -> list[Resource]:
    return [one for one in resources if one["resourceType"] == kind]


def nodes(value: Any) -> Iterator[dict[str, Any]]:
    """Every object inside a value, the value itself too, as they stand."""
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            yield one
            one = one.values()
        elif not isinstance(one, list):
            continue
        waiting += [inner for inner in reversed(one) if isinstance(inner, (dict, list))]


def codes_of(value: Any, base: str) -> set[tuple[str, str]]:
    """Our own codes inside a value: codings, and the answers and concepts of value sets and maps."""
    found = set()
    for node in nodes(value):
        system = node.get("system") or node.get("source")
        if not isinstance(system, str) or not system.startswith(f"{base}/CodeSystem/"):
            continue
        listed = [node, *node.get("concept", ()), *node.get("element", ())]
        found |= {(system, one["code"]) for one in listed if isinstance(one.get("code"), str)}
    return found


def published(resources: list[Resource]) -> set[tuple[str, str]]:
    systems = of(resources, "CodeSystem")
    return {
        (one["url"], node["code"]) for one in systems for node in nodes(one.get("concept", [])) if "display" in node
    }
