"""Windows and amounts of time in words, and as FHIR's Range where they are one."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from layette.engine.pack.written.rule_shapes import Consequence, FirstOf, WindowShape
from layette.mapping.codes import SYSTEMS

_UNITS = {"s": "seconds", "min": "minutes", "h": "hours", "d": "days", "wk": "weeks", "mo": "months"}
_ANCHORS = {
    "visit": "after the visit", "birth": "after birth", "discharge": "after discharge", "term": "after the day of term",
}  # fmt: skip


def amount(text: str) -> str:
    """Return ``24 h`` as "24 hours"."""
    number, _, unit = text.partition(" ")
    word = _UNITS.get(unit, unit)
    return f"{number} {word[:-1] if number == '1' and word.endswith('s') else word}".strip()


def span(window: WindowShape | FirstOf) -> str:
    """Return a window in words: "from 24 hours to 48 hours after birth"."""
    if isinstance(window, FirstOf):
        return "by the earliest of: " + "; ".join(map(span, window.first_of))
    after = _ANCHORS.get(window.after, f"after the time of {window.after.removesuffix('.time').replace('_', ' ')}")
    if window.start and window.until:
        return f"from {amount(window.start)} to {amount(window.until)} {after}"
    if window.until:
        return (
            f"by the time of {after.removeprefix('after ')}"
            if _zero(window.until)
            else (f"within {amount(window.until)} {after}")
        )
    return f"from {amount(window.start)} {after}" if window.start else after


def _zero(text: str) -> bool:
    return Decimal(text.split(" ")[0]) == 0


def when(then: Consequence) -> str:
    """Return when a consequence is to be done, empty where the rule does not say."""
    if then.within:
        return f"within {amount(then.within)}"
    if then.window is not None:
        return span(then.window)
    return "now" if then.priority == "stat" else ""


def timing(then: Consequence, window: WindowShape | FirstOf | None = None) -> dict[str, Any]:
    """Return a window as ``timingRange``; R4 gives it no anchor, so the words say from when it is counted.

    A window that is the first of several, or lies before its anchor, stays in words alone.
    """
    window = window or then.window
    if then.within:
        return {"timingRange": {"high": _quantity(then.within)}}
    if not isinstance(window, WindowShape) or "-" in f"{window.start}{window.until}":
        return {}
    ends = {"low": window.start, "high": window.until}
    written = {end: _quantity(text) for end, text in ends.items() if text}
    units = {quantity["code"] for quantity in written.values()}
    return {"timingRange": written} if written and len(units) == 1 else {}


def _quantity(text: str) -> dict[str, Any]:
    number, _, unit = text.partition(" ")
    value = Decimal(number)
    whole = int(value) if value == value.to_integral_value() and "." not in number else value
    return {"value": whole, "unit": unit, "system": SYSTEMS["ucum"], "code": unit}
