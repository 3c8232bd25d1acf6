"""A visit that is assessed again at a later moment, with what we proposed before as drafts of its history."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from layette.engine import Assessment

_RANGE = {"at_least", "more_than", "at_most", "below", "between"}
Flat = dict[str, Any]


def timed(visit: Mapping[str, Any]) -> Flat:
    """Return a flat visit whose findings say when they were made: asked later, nothing is looked at anew."""
    findings = {name: _timed(item, visit["at"]) for name, item in (visit.get("findings") or {}).items()}
    return {**visit, "findings": findings}


def _timed(item: Any, at: str) -> Any:
    if isinstance(item, list):
        return [_timed(one, at) for one in item]
    reading = dict(item) if isinstance(item, Mapping) and not item.keys() <= _RANGE else {"value": item}
    return reading if {"time", "age"} & reading.keys() else reading | {"time": at}


def drafts(found: Assessment, until: str | None = None) -> list[Flat]:
    """Return what was proposed, and what was chased, as a later visit finds it; written at the end of the visit."""
    return [
        {
            "target": one.target, "side": one.side or "", "status": "draft", "priority": one.priority,
            "time": until or found.at, "request_key": one.request_key, "answer_key": one.answer_key,
            "reference": f"ServiceRequest/{one.answer_key}",
            **{end: when for end, when in (("start", one.window.start), ("until", one.window.until)) if when},
        }
        for one in (*found.recommendations, *found.to_chase)
        if one.kind in ("refer", "order", "recheck")
    ]  # fmt: skip


def again(visit: Mapping[str, Any], orders: Sequence[Flat] = (), **later: float) -> Flat:
    """Return the visit so much later than its end (``hours=24``), with more orders in its history."""
    history = dict(visit.get("history") or {})
    anew = {**visit, "history": history | {"orders": [*(history.get("orders") or ()), *orders]}}
    if later:
        end = datetime.fromisoformat(anew.pop("until", visit["at"]))
        anew["at"] = (end + timedelta(**later)).isoformat()
    return anew
