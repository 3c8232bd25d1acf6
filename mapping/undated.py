"""Emergencies of an input whose birth or moment cannot be used: what is one at every age must not wait for a date."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any

from layette.engine.answer.emergencies import emergencies
from layette.engine.api import Pack
from layette.engine.errors import InputError

_AGES = (0, 1, 2, 3, 5, 7, 14, 28, 60, 90)
"""The ages, in days, that stand for all: what is an emergency at each of them is one, whatever the age."""


def urgent_at_any_age(visit: Mapping[str, Any], pack: Pack) -> tuple[str, ...]:
    """Return the emergencies that a flat visit decides whatever the age of the newborn, a line of text each.

    Its moment is that of the visit, else that of the latest finding; without either there is none to be told.
    """
    moment = _moment(visit)
    if moment is None:
        return ()
    at = {"at": moment.isoformat()}
    if "born" in visit and "at" not in visit:
        return _urgent({**visit, **at}, pack)
    told = [_urgent({**visit, **at, "born": _born(moment, days)}, pack) for days in _AGES]
    return tuple(line for line in told[0] if all(line in other for other in told))


def _born(moment: datetime, days: int) -> str:
    return (moment - timedelta(days=days)).date().isoformat()


def _urgent(visit: Mapping[str, Any], pack: Pack) -> tuple[str, ...]:
    try:
        return emergencies(pack.assess(visit, readers=("native",)))
    except InputError as error:
        return error.urgent


def _moment(visit: Mapping[str, Any]) -> datetime | None:
    times = [when for text in (visit.get("at"), *_times(visit)) if (when := _parsed(text)) is not None]
    return times[0] if _parsed(visit.get("at")) else max(times, default=None)


def _times(visit: Mapping[str, Any]) -> Iterator[object]:
    for readings in (visit.get("findings") or {}).values():
        yield from (one.get("time") for one in readings if isinstance(one, Mapping))


def _parsed(text: object) -> datetime | None:
    try:
        when = datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        return None
    return when if when is not None and when.tzinfo is not None else None
