"""Which published invariants are checked: the account of ``schemas/fhir/invariants.csv``."""

from __future__ import annotations

from collections.abc import Mapping

from layette.mapping.fhir.types import resource_types, table
from layette.mapping.validate.rules.registry import UNDOMAINED, keys

IN_THE_WALK: Mapping[str, str] = {
    "bdl-2": "bundle.py, entry by entry",
    "bdl-3": "bundle.py, entry by entry",
    "bdl-4": "bundle.py, entry by entry",
    "bdl-7": "bundle.py, entry by entry",
    "bdl-8": "bundle.py, entry by entry",
    "dom-2": "walk.py, with the contained resources",
    "dom-3": "walk.py, with the contained resources; a contained resource without id is contained-id",
    "dom-4": "walk.py, with the contained resources",
    "dom-5": "walk.py, with the contained resources",
    "dom-6": "walk.py, with advice=True: R4 recommends it only",
    "ele-1": "walk.py, for every element; an empty object is the key empty",
    "ref-1": "references.py",
    "txt-1": "narrative.py",
    "txt-2": "narrative.py",
}
"""Keys that need more than the object they stand on, and where they are checked."""

ELSEWHERE: Mapping[tuple[str, str], tuple[str, str]] = {
    ("Organization.telecom", "org-3"): ("Organization", "org-3"),
    ("Organization.address", "org-2"): ("Organization", "org-2"),
    ("Extension.extension", "ext-1"): ("Extension", "ext-1"),
    ("Element.extension", "ext-1"): ("Extension", "ext-1"),
}
"""Rows whose rule is registered under another path, which covers them."""


def covered(path: str, key: str) -> bool:
    """Return whether the invariant ``key`` is checked on ``path``."""
    if key in IN_THE_WALK:
        return not key.startswith("dom-") or path in resource_types() - UNDOMAINED
    return ELSEWHERE.get((path, key), (path, key)) in keys()


def uncovered() -> list[tuple[str, str]]:
    """Return (path, key) of every row of the table that nothing checks."""
    rows = ((row["path"], row["key"]) for row in table("invariants.csv"))
    return [row for row in rows if not covered(*row)]
