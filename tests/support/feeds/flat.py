"""Flat visits taken apart: one recording a part, each with its own time, and edits that leave the original alone."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from layette.engine import Pack

Flat = dict[str, Any]
Item = dict[str, Any]
END = timedelta(hours=1)
"""How long a visit lasts here, so that something can be found later in it."""


@dataclass(frozen=True)
class Place:
    """One recording of a visit that was taken apart."""

    finding: str
    side: str
    number: int
    here: bool = True

    @property
    def key(self) -> str:
        """The name under which the recording stands."""
        return f"{self.finding}.{self.side}" if self.side else self.finding

    def among(self, flat: Flat) -> list[Item]:
        """Return the recordings of this finding and side."""
        found: list[Item] = (flat if self.here else flat["history"])["findings"][self.key]
        return found

    def item(self, flat: Flat) -> Item:
        """Return the recording."""
        return self.among(flat)[self.number]


def taken_apart(flat: Flat, pack: Pack) -> Flat:
    """Return the same visit with a list of recordings a finding and side, of one part each, at a time of day each."""
    out = deepcopy(flat)
    out["until"] = max(filter(None, (out.get("until"), stamped(moment_of(out["at"]) + END))))
    out["findings"] = _each(out.get("findings") or {}, out, pack)
    history = out.setdefault("history", {})
    history["findings"] = _each(history.get("findings") or {}, out, pack)
    return out


def _each(findings: dict[str, Any], flat: Flat, pack: Pack) -> dict[str, list[Item]]:
    out: dict[str, list[Item]] = {}
    for key, value in findings.items():
        name, _, side = key.partition(".")
        if name not in pack.findings:
            out[key] = value
            continue
        for item in value if isinstance(value, list) else [value]:
            fields = dict(item) if isinstance(item, dict) and not _bounds(item) else {"value": item}
            where = side or fields.pop("side", "")
            _at_a_time(fields, flat)
            for one_side in pack.findings[name].sides or [""] if where == "both" else [where]:
                place = f"{name}.{one_side}" if one_side else name
                out.setdefault(place, []).extend(_parts(fields, name, pack))
    return out


def _bounds(item: dict[str, Any]) -> bool:
    return not item.keys() - {"at_least", "more_than", "at_most", "below", "between"}


def _parts(fields: Item, name: str, pack: Pack) -> Iterator[Item]:
    readings = pack.findings[name].readings
    if readings is None or "part" in fields:
        yield dict(fields)
        return
    rest = {key: value for key, value in fields.items() if key not in readings.parts}
    for part in readings.parts:
        if part in fields:
            yield {**rest, "part": part, "value": fields[part]}


def _at_a_time(fields: Item, flat: Flat) -> None:
    if "age" not in fields:
        fields.setdefault("time", flat["at"])
    elif "T" in flat["born"]:
        number, unit = str(fields.pop("age")).split()
        hours = float(number) * {"s": 1 / 3600, "min": 1 / 60, "h": 1, "d": 24, "wk": 168}[unit]
        fields["time"] = stamped(moment_of(flat["born"]) + timedelta(hours=hours))


def moment_of(text: str) -> datetime:
    """Return a time of day that was written with its offset."""
    return datetime.fromisoformat(text)


def stamped(when: datetime) -> str:
    """Write a time."""
    return when.isoformat(timespec="seconds")


def timed(item: Item, **after: int) -> str | None:
    """Return the time so long after that of a recording; None where it has only a day."""
    return stamped(moment_of(item["time"]) + timedelta(**after)) if "T" in str(item.get("time")) else None


def added(flat: Flat, place: Place, *items: Item | None) -> Flat:
    """Return the visit with further recordings of the same finding and side."""
    out = deepcopy(flat)
    place.among(out).extend(item for item in items if item is not None)
    return out


def changed(flat: Flat, place: Place, **fields: Any) -> Flat:
    """Return the visit with fields of one recording replaced; None takes a field away."""
    out = deepcopy(flat)
    item = place.item(out)
    item.update(fields)
    for key in [key for key, value in item.items() if value is None]:
        del item[key]
    return out


def places(flat: Flat, pack: Pack) -> Iterator[Place]:
    """Yield every recording of a visit that was taken apart."""
    for here, findings in ((True, flat["findings"]), (False, flat["history"]["findings"])):
        for key, items in findings.items():
            name, _, side = key.partition(".")
            if name in pack.findings:
                yield from (Place(name, side, k, here) for k in range(len(items)))


def without_each_part(flat: Flat) -> Iterator[Flat]:
    """Yield the visit without each of its parts in turn: a recording, a setting, an order, all of a kind."""
    for path in list(_paths(flat, ())):
        out: Any = deepcopy(flat)
        inside = out
        for step in path[:-1]:
            inside = inside[step]
        del inside[path[-1]]
        yield out


def _paths(value: Any, path: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
    """Yield the way to each part that a visit can do without; a recording is one part."""
    kept = [("born",), ("at",), ("until",), ("findings",), ("history",), ("history", "findings")]
    for key in list(value) if isinstance(value, dict) else range(len(value)):
        here = (*path, key)
        if here not in kept:
            yield here
        recording = "findings" in path[:-1]
        if isinstance(value[key], dict | list) and not recording and len(here) < 4:
            yield from _paths(value[key], here)
