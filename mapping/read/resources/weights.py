"""Pounds and ounces of one weight, sent as two Observations of one moment: seven pounds alone would be wrong."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any, NamedTuple

from layette.mapping.read.bundle.times import BadTimeError, VisitSpan, parse
from layette.mapping.read.codes.amounts import pounds_and_ounces

APART = (
    "pounds and ounces of one weight that do not stand at one moment with one status: which weight it is, is not known"
)
WEIGHT, BIRTH_WEIGHT = "weight", "birth_weight"
_SETTLED = ("final", "amended", "corrected")
_OUNCES = 16
_PIECES = ("[lb_av]", "[oz_av]")


class Joined(NamedTuple):
    """Readings of a weight, and the pieces of weights whose other piece is not there."""

    readings: list[dict[str, Any]]
    pieces: list[dict[str, Any]]


def joined(readings: Sequence[dict[str, Any]]) -> Joined:
    """Return the readings, with pounds and ounces of one moment and status as one; anything else stays as it is.

    Ounces below a pound are no weight of a newborn: alone they are a piece, and so are whole pounds of that day.
    """
    found = list(readings)
    for pounds in readings:
        if pounds.get("unit") != "[lb_av]":
            continue
        alike = [one for one in readings if _is_piece(one) and _shared(one) == _shared(pounds)]
        units = sorted(one["unit"] for one in alike)
        ounces = next((one for one in alike if one["unit"] == "[oz_av]"), None)
        total = pounds_and_ounces(pounds, ounces) if ounces and units == sorted(_PIECES) else None
        if ounces is not None and total is not None and Decimal(ounces["value"]) < _OUNCES:
            given = f"{pounds['value']} [lb_av] {ounces['value']} [oz_av]"
            found[found.index(pounds)] = {**pounds, **total, "given": given}
            found.remove(ounces)
    pieces = _pieces(found)
    return Joined([one for one in found if not any(one is piece for piece in pieces)], pieces)


def _pieces(readings: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    ounces = [one for one in readings if one.get("unit") == "[oz_av]" and _is_piece(one) and _below(one, _OUNCES)]
    days = {_day(one) for one in ounces}
    pounds = [one for one in readings if one.get("unit") == "[lb_av]" and _is_piece(one) and _day(one) in days]
    return [*ounces, *(one for one in pounds if Decimal(one["value"]) % 1 == 0)]


def _is_piece(reading: dict[str, Any]) -> bool:
    return reading.get("unit") in _PIECES and isinstance(reading.get("value"), str)


def _below(reading: dict[str, Any], most: int) -> bool:
    return Decimal(reading["value"]) < most


def _day(reading: dict[str, Any]) -> object:
    instant = _instant(reading)
    return instant.date() if isinstance(instant, datetime) else instant


def _instant(reading: dict[str, Any]) -> object:
    """Return the time of a reading, the same for each spelling of it."""
    try:
        return parse(reading["time"]) if "time" in reading else None
    except BadTimeError:
        return reading["time"]


def _shared(reading: dict[str, Any]) -> tuple[Any, ...]:
    return (_instant(reading), *(reading.get(key) for key in ("status", "reported", "side")))


def first_weight(readings: Iterable[dict[str, Any]], span: VisitSpan) -> dict[str, Any] | None:
    """Return the first settled weight of the first day of life, if there is one."""
    weighed = [one for one in readings if one.get("status") in _SETTLED and isinstance(one.get("value"), str)]
    timed = [(parse(one["time"]), one) for one in weighed if "time" in one]
    of_first_day = [(span.first(moment), place) for place, (moment, _) in enumerate(timed) if span.of_first_day(moment)]
    return timed[min(of_first_day)[1]][1] if of_first_day else None
