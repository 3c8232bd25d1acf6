"""Names that lead back to themselves, found in one pass and without recursion, however long the chains are."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence


def in_rings(leads_to: Mapping[str, Sequence[str]]) -> frozenset[str]:
    """Return the names that can be reached from themselves; a name without an entry leads nowhere.

    Two walks: taken in the order in which the first walk leaves them, last first, names reach against the arrows
    only what is in a ring with them.
    """
    comes_from: dict[str, list[str]] = {name: [] for name in leads_to}
    for name, others in leads_to.items():
        for other in others:
            comes_from.setdefault(other, []).append(name)
    placed: set[str] = set()
    ringed: set[str] = set()
    for name in reversed(_ended(leads_to)):
        ring = _reached(name, comes_from, placed)
        if len(ring) > 1 or name in leads_to.get(name, ()):
            ringed.update(ring)
    return frozenset(ringed)


def _ended(leads_to: Mapping[str, Iterable[str]]) -> list[str]:
    """Return all names, each after everything that it leads to, but for what leads back to it."""
    ended: list[str] = []
    seen: set[str] = set()
    for start in leads_to:
        if start in seen:
            continue
        seen.add(start)
        path = [(start, iter(leads_to[start]))]
        while path:
            name, others = path[-1]
            onward = next((other for other in others if other not in seen), None)
            if onward is None:
                ended.append(name)
                path.pop()
            else:
                seen.add(onward)
                path.append((onward, iter(leads_to.get(onward, ()))))
    return ended


def _reached(start: str, leads_to: Mapping[str, Iterable[str]], placed: set[str]) -> list[str]:
    """Return what is reached from ``start`` and was not placed before; it is placed now."""
    if start in placed:
        return []
    placed.add(start)
    reached = [start]
    for name in reached:  # grows while it is walked
        onward = [other for other in dict.fromkeys(leads_to.get(name, ())) if other not in placed]
        placed.update(onward)
        reached += onward
    return reached
