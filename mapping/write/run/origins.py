"""The input resources, by the references under which others point to them.

A resource that a server already knows (it came with an id or a url) is referenced and never written
again. One that so far has only a `urn:` inside the input Bundle would leave that reference dangling, so it
goes along as it was given, under an identifier of ours, and posting it twice makes it once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

Resource = Mapping[str, Any]


@dataclass(frozen=True)
class Sources:
    """Input resources by reference; ``reference`` is as other resources of the input would write it."""

    by_reference: Mapping[str, Resource] = field(default_factory=dict)

    def get(self, reference: str) -> Resource | None:
        """Return the resource that a reference means, or None."""
        found = self.by_reference.get(reference)
        if found is None and "/" in reference:
            found = self.by_reference.get("/".join(reference.split("/")[-2:]))
        return found

    def of_type(self, kind: str) -> list[tuple[str, Resource]]:
        """Return each resource of a type once, with its reference, sorted by reference."""
        return self._by_type.get(kind, [])

    @cached_property
    def _by_type(self) -> dict[str, list[tuple[str, Resource]]]:
        found: dict[str, list[tuple[str, Resource]]] = {}
        seen: set[int] = set()
        for reference in sorted(self.by_reference):
            resource = self.by_reference[reference]
            if id(resource) not in seen:
                seen.add(id(resource))
                found.setdefault(str(resource.get("resourceType")), []).append((reference, resource))
        return found


def sources(content: Mapping[str, Any] | Sequence[Any] | None) -> Sources:
    """Index the input: a Bundle, one resource, several of these, a mapping of reference to resource, or nothing."""
    if not content:
        return Sources()
    if not isinstance(content, Mapping):
        indexed = [sources(part).by_reference for part in content if isinstance(part, Mapping)]
        return Sources({name: resource for names in reversed(indexed) for name, resource in names.items()})
    if content.get("resourceType") == "Bundle":
        return Sources(dict(_entries(content)))
    if isinstance(content.get("resourceType"), str):
        return Sources(dict(_names(None, content)))
    return Sources({name: value for name, value in content.items() if isinstance(value, Mapping)})


def _entries(bundle: Mapping[str, Any]) -> Iterator[tuple[str, Resource]]:
    for entry in bundle.get("entry") or ():
        resource = entry.get("resource") if type(entry) is dict or isinstance(entry, Mapping) else None
        if not (type(resource) is dict or isinstance(resource, Mapping)):
            continue
        if resource.get("resourceType") == "Bundle":
            yield from _entries(resource)
        else:
            yield from _names(entry.get("fullUrl"), resource)


def _names(url: object, resource: Resource) -> Iterator[tuple[str, Resource]]:
    if isinstance(url, str) and url:
        yield url, resource
    if isinstance(resource.get("id"), str) and not str(url or "").startswith("urn:"):
        yield f"{resource.get('resourceType')}/{resource['id']}", resource


def references(value: Any) -> Iterator[dict[str, Any]]:
    """Yield every Reference element inside a resource, for reading or changing in place."""
    waiting = [value]
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict):
            if isinstance(part.get("reference"), str):
                yield part
            waiting += [inner for inner in reversed(part.values()) if type(inner) is not str]
        elif isinstance(part, list):
            waiting += reversed(part)
