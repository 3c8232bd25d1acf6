"""Pounds and ounces of one weight, sent as two Observations of one moment: seven pounds alone would be wrong."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from layette.mapping.read.codes.amounts import pounds_and_ounces

_OUNCES = 16
_PIECES = ("[lb_av]", "[oz_av]")


def joined(readings: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the readings, with pounds and ounces of one moment and status as one; anything else stays as it is."""
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
    return found


def _is_piece(reading: dict[str, Any]) -> bool:
    return reading.get("unit") in _PIECES and isinstance(reading.get("value"), str)


def _shared(reading: dict[str, Any]) -> tuple[Any, ...]:
    return tuple(reading.get(key) for key in ("time", "status", "reported", "side"))
