"""Units of measure (UCUM) and exact conversion.

Every factor is an exact fraction, so that 100.4 [degF] is 38 Cel and not 37.99999. Between a mass and an amount of
substance in a volume the factor is that of one substance, so the substance is named: a glucose is never turned by the
factor of bilirubin.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

_POUND = Fraction(45359237, 100000)

_LINEAR: dict[str, tuple[str, Fraction]] = {
    "g": ("mass", Fraction(1)),
    "kg": ("mass", Fraction(1000)),
    "mg": ("mass", Fraction(1, 1000)),
    "[lb_av]": ("mass", _POUND),
    "[oz_av]": ("mass", _POUND / 16),
    "mm": ("length", Fraction(1)),
    "cm": ("length", Fraction(10)),
    "m": ("length", Fraction(1000)),
    "[in_i]": ("length", Fraction(254, 10)),
    "[in_us]": ("length", Fraction(100000, 3937)),
    "s": ("time", Fraction(1)),
    "min": ("time", Fraction(60)),
    "h": ("time", Fraction(3600)),
    "d": ("time", Fraction(86400)),
    "wk": ("time", Fraction(604800)),
    "mL": ("volume", Fraction(1)),
    "L": ("volume", Fraction(1000)),
    "[foz_us]": ("volume", Fraction(295735295625, 10**10)),
    "mg/dL": ("mass in a volume", Fraction(1)),
    "mg/L": ("mass in a volume", Fraction(1, 10)),
    "g/dL": ("mass in a volume", Fraction(1000)),
    "g/L": ("mass in a volume", Fraction(100)),
    "umol/L": ("amount in a volume", Fraction(1)),
    "mmol/L": ("amount in a volume", Fraction(1000)),
    "mg/dL/h": ("mass in a volume an hour", Fraction(1)),
    "umol/L/h": ("amount in a volume an hour", Fraction(1)),
}

BILIRUBIN = "bilirubin"
MOLAR: dict[str, Fraction] = {
    BILIRUBIN: Fraction(171, 10),
    "glucose": Fraction(10_000_000, 180_156),
}
"""How many umol/L are 1 mg/dL of a substance. Bilirubin: the factor that its guidelines print (NICE CG98, AAP 2022).
Glucose: its molar mass, 180.156 g/mol (C6H12O6), so that 1 mmol/L is 18.0156 mg/dL."""

_BESIDE = {"mg": "g", "[in_us]": "[in_i]", "mg/L": "mg/dL", "mmol/L": "umol/L"}
"""Further units that are taken where their neighbour is: the same kind, by a factor of definition. A molar unit is not
taken where only a mass is, since its factor is that of one substance."""

_VOLUMES = ("in a volume", "in a volume an hour")
_MOLAR_KINDS = {(f"{a} {v}", f"{b} {v}") for v in _VOLUMES for a, b in (("mass", "amount"), ("amount", "mass"))}

_AMOUNT = re.compile(r"(-?\d+(?:\.\d+)?) (\S+)", re.ASCII)


class UnitMismatchError(ValueError):
    """A value in one unit cannot be turned into another."""


def exact(value: int | float | str | Decimal | Fraction) -> Fraction:
    """Return a written number exactly: 0.2 is one fifth, not the nearest binary fraction."""
    return Fraction(repr(value)) if isinstance(value, float) else Fraction(value)


def convert(value: Fraction, unit: str, to: str, substance: str | None = BILIRUBIN) -> Fraction:
    """Convert ``value`` exactly; raises `UnitMismatchError` where the two units measure different things.

    ``substance`` is whose mass and amount are meant; treatment lines, margins and rises are all of bilirubin.
    """
    if unit == to:
        return value
    by = factor(unit, to, substance)
    if by is None:
        return (value - 32) * Fraction(5, 9) if to == "Cel" else value * Fraction(9, 5) + 32
    return value * by


_SPELT = {
    "c": "Cel", "celsius": "Cel", "centigrade": "Cel", "f": "[degF]", "fahrenheit": "[degF]", "kilo": "kg",
    "kilogram": "kg", "gram": "g", "pound": "[lb_av]", "lb": "[lb_av]", "ounce": "[oz_av]", "oz": "[oz_av]",
    "centimeter": "cm", "millimeter": "mm", "inch": "[in_i]", "inche": "[in_i]", "in": "[in_i]", "milliliter": "mL",
    "ml": "mL", "second": "s", "sec": "s", "minute": "min", "hour": "h", "hr": "h", "day": "d", "week": "wk",
    "month": "mo", "percent": "%", "per minute": "/min", "mg/dl": "mg/dL", "µmol/l": "umol/L", "umol/l": "umol/L",
}  # fmt: skip
"""Units as people write them out, one of a thing, with how UCUM writes them."""


def spelt(unit: str) -> str | None:
    """Return how UCUM writes a unit that is written out, such as ``degrees Celsius``; None where that is not known."""
    word = unit.strip().casefold().removeprefix("degrees ").removeprefix("degree ").removeprefix("°").strip(" .")
    return _SPELT.get(word) or _SPELT.get(word.removesuffix("s"))


@lru_cache(maxsize=1000)
def factor(unit: str, to: str, substance: str | None = BILIRUBIN) -> Fraction | None:
    """Return what a value is multiplied by to convert it exactly, None where that alone does not do (temperature).

    Raises `UnitMismatchError` where the two units measure different things, or no ``substance`` says how they compare.
    """
    if {unit, to} == {"Cel", "[degF]"}:
        return None
    try:
        (kind, numerator), (other, divisor) = _LINEAR[unit], _LINEAR[to]
    except KeyError:
        unknown = [one for one in (unit, to) if one not in _LINEAR and one not in ("Cel", "[degF]")]
        hint = "; ".join(dict.fromkeys(f"for '{one}' write '{spelt(one)}'" for one in unknown if spelt(one)))
        raise UnitMismatchError(f"'{unit}' cannot be turned into '{to}'{f'; {hint}' if hint else ''}") from None
    return _between(kind, other, substance, f"'{unit}' ({kind}) cannot be turned into '{to}' ({other})") * (
        numerator / divisor
    )


def _between(kind: str, other: str, substance: str | None, refused: str) -> Fraction:
    """Return the factor between two kinds of units: 1, or that of the substance between its mass and its amount."""
    if kind == other:
        return Fraction(1)
    if (kind, other) not in _MOLAR_KINDS:
        raise UnitMismatchError(refused)
    if substance not in MOLAR:
        raise UnitMismatchError(f"{refused} unless 'substance' names one of {', '.join(MOLAR)}")
    return MOLAR[substance] if kind.startswith("mass") else 1 / MOLAR[substance]


def taken(accepts: Iterable[str]) -> tuple[str, ...]:
    """Return the units that are taken where ``accepts`` are named: these, and further ones of the same kind."""
    named = tuple(dict.fromkeys(accepts))
    return (*named, *(unit for unit, beside in _BESIDE.items() if beside in named and unit not in named))


def amount(text: str) -> tuple[Fraction, str] | None:
    """Split ``14 d`` into number and unit; None where the text is not of that form."""
    found = _AMOUNT.fullmatch(text)
    return (Fraction(found[1]), found[2]) if found else None


@lru_cache(maxsize=1000)
def seconds(text: str) -> int:
    """Return an amount of elapsed time in seconds (``mo`` is calendar time and not accepted here)."""
    found = amount(text)
    if found is None or found[1] == "mo":
        raise UnitMismatchError(f"'{text}' is not an amount of elapsed time such as '24 h' (s, min, h, d, wk)")
    return int(convert(found[0], found[1], "s"))


def rounded(value: Fraction, digits: int) -> int:
    """Return ``value`` in steps of the last of ``digits`` decimals, half away from zero."""
    num, den = value.numerator, value.denominator
    whole: int = (2 * abs(num) * 10**digits + den) // (2 * den)
    return -whole if num < 0 else whole


def plain(value: Fraction, digits: int) -> str:
    """Print ``value`` with ``digits`` decimals, half away from zero; exact integers keep no point at 0 digits."""
    return as_decimal(rounded(value, digits), digits)


def as_decimal(steps: int, digits: int) -> str:
    """Print a number that counts steps of the last of ``digits`` decimals."""
    text = f"{abs(steps):0{digits + 1}d}"
    sign = "-" if steps < 0 else ""
    return sign + (f"{text[:-digits]}.{text[-digits:]}" if digits else text)
