"""What an order, a talk or a dose is about, and when it was: what the readers of history share."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date
from typing import Any

from layette.mapping.codes import OWN
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, items, mapping, text
from layette.mapping.read.bundle.times import BadTimeError, parse
from layette.mapping.read.resources.ledger import Ledger

_TOLD = ("guide", "reassure", "avoid")
"""The kinds of targets that are told to somebody, or not to be done; the others are ordered."""


def target_of(ledger: Ledger, concepts: Iterable[Any], *, told: bool) -> str | None:
    """Return the target that concepts name: by our own code, else by a published code of only one target."""
    own = f"{ledger.index.base}/{OWN['targets']}"
    found = [key[:2] for concept in concepts for key in codings(concept)]
    for keys in ([k for k in found if k[0] == own], [k for k in found if k[0] != own]):
        named = {name for key in keys for name in ledger.index.targets.get(key, ()) if is_told(ledger, name) == told}
        if named:
            return named.pop() if len(named) == 1 else None
    return None


def is_told(ledger: Ledger, target: str) -> bool:
    """Whether a target is told to somebody, and not ordered."""
    return ledger.index.kinds[target] in _TOLD


def named_in(ledger: Ledger, key: str | None) -> str | None:
    """Return the target that a request key of ours spells out, if it spells out just one."""
    system = f"{ledger.index.base}/{OWN['targets']}"
    words = set(re.split(r"[^a-z0-9_\-]+", key)) if key else set()
    named = {name for word in words for name in ledger.index.targets.get((system, word), ())}
    return named.pop() if len(named) == 1 else None


def own_identifier(ledger: Ledger, resource: Resource, name: str) -> str | None:
    """Return an identifier of ours, by its short name in `codes.OWN`."""
    system = f"{ledger.index.base}/{OWN[name]}"
    found = (text(one.get("value")) for one in items(resource.get("identifier")) if one.get("system") == system)
    return next((value for value in found if value), None)


def order_sides(sides: set[str]) -> list[str | None]:
    """Return the sides of an order: each of both by itself, None where it has none."""
    if sides == {"both"}:
        return ["left", "right"]
    return [next(iter(sides), None)]


def time_of(ledger: Ledger, entry: Entry, key: str, *, check: bool) -> tuple[str | None] | None:
    """Return a time of an entry as written (None if there is none), in a tuple; no tuple if it is wrong.

    ``key`` may name a part of an element, such as ``occurrencePeriod.start``; of a period as such its end counts.
    ``check``: it must lie between birth and the end of the visit.
    """
    element, _, part = key.partition(".")
    value = entry.resource.get(element)
    if part:
        value = mapping(value).get(part)
    elif element.endswith("Period"):
        value = mapping(value).get("end") or mapping(value).get("start")
    if value is None:
        return (None,)
    try:
        moment: date = parse(value, key)
    except BadTimeError as bad:
        ledger.refuse_time(entry, bad)
        return None
    wrong = ledger.check_time(moment, value, key, of_baby=True) if check else None
    if wrong is not None:
        ledger.refuse(entry, wrong)
        return None
    return (value,)
