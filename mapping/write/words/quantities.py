"""Numbers as FHIR: exact ones, those of which only a bound is known, and ranges."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, localcontext
from fractions import Fraction
from typing import Any

from layette.engine.exact.units import UnitMismatchError, convert
from layette.mapping.write.run.context import Resource
from layette.mapping.write.run.readings import decimal
from layette.mapping.write.words.concepts import UCUM

_ENOUGH = 60
"""Digits in which a product of two written numbers is still exact."""

_COMPARATORS: Mapping[str, str] = {"at_least": ">=", "more_than": ">", "at_most": "<=", "below": "<"}


def quantity(value: Decimal, unit: str | None, comparator: str | None = None) -> Resource:
    """Return a Quantity with the digits of ``value`` and its UCUM unit."""
    out: Resource = {"value": value}
    if comparator:
        out["comparator"] = comparator
    return out | ({"unit": unit, "system": UCUM, "code": unit} if unit else {})


def bounds(low: Decimal | None, high: Decimal | None, unit: str | None) -> Resource:
    """Return ``valueQuantity`` or ``valueRange`` for a closed interval; half-open ones carry a comparator."""
    if low is not None and high is not None:
        if low == high:
            return {"valueQuantity": quantity(low, unit)}
        return {"valueRange": {"low": quantity(low, unit), "high": quantity(high, unit)}}
    if low is not None:
        return {"valueQuantity": quantity(low, unit, ">=")}
    return {"valueQuantity": quantity(high, unit, "<=")} if high is not None else {}


def measured(value: Any, unit: str | None) -> Resource | None:
    """Return the value[x] of a number of a flat visit, exact or with bounds; None where it is no number."""
    if not isinstance(value, Mapping):
        number = decimal(value)
        return None if number is None else {"valueQuantity": quantity(number, unit)}
    if isinstance(value.get("between"), (list, tuple)):
        low, high = (decimal(end) for end in value["between"])
        return bounds(low, high, unit)
    numbers = {key: number for key, bound in value.items() if (number := decimal(bound)) is not None}
    if len(numbers) == 1:
        ((key, number),) = numbers.items()
        return {"valueQuantity": quantity(number, unit, _COMPARATORS[key])} if key in _COMPARATORS else None
    lows, highs = (
        [numbers[k] for k in pair if k in numbers] for pair in (("at_least", "more_than"), ("at_most", "below"))
    )
    return bounds(max(lows, default=None), min(highs, default=None), unit) or None


def converted(value: Any, unit: str, to: str, substance: str | None) -> Any | None:
    """Return a number or bounds of a flat visit in another unit, exactly; None where decimals cannot say it.

    ``substance`` is the finding's own, which says how a mass and an amount of it compare.
    """
    factor = _factor(unit, to, substance)
    if factor is None:
        return None
    if isinstance(value, Mapping):
        found = {key: _scaled(bound, factor) for key, bound in value.items()}
        return found if None not in found.values() else None
    return _scaled(value, factor)


def _scaled(value: Any, factor: Decimal) -> Any | None:
    if isinstance(value, (list, tuple)):
        ends = [_scaled(end, factor) for end in value]
        return ends if None not in ends else None
    number = decimal(value)
    if number is None:
        return None
    with localcontext(prec=_ENOUGH):
        return number * factor


def _factor(unit: str, to: str, substance: str | None) -> Decimal | None:
    """Return what a number is multiplied by; None for other dimensions, a shifted scale, or an endless decimal."""
    try:
        one, zero = (convert(Fraction(number), unit, to, substance) for number in (1, 0))
    except UnitMismatchError:
        return None
    with localcontext(prec=_ENOUGH):
        factor = Decimal(one.numerator) / Decimal(one.denominator)
    return factor if zero == 0 and Fraction(factor) == one else None
