"""Numbers and units: the digits as given, the unit as UCUM, nothing converted."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from layette.engine.exact.units import taken
from layette.mapping.codes import SYSTEMS, printed_units
from layette.mapping.read.bundle.parts import Resource, mapping, shown, text

_COMPARATORS = {"<": "below", "<=": "at_most", ">=": "at_least", ">": "more_than"}
_OUNCES = 16
_DAYS = 7
_LARGEST = 12
"""The largest power of ten of a number in a newborn's record; anything beyond is a slip."""


@dataclass(frozen=True, slots=True)
class Wrong:
    """A value that contradicts what may stand there: it becomes an `InputProblem` at ``suffix``."""

    code: str
    message: str
    value: str = ""
    expected: str = ""
    suffix: str = ""


@dataclass(frozen=True, slots=True)
class Unclear:
    """Something that is kept and reported, but not understood."""

    why: str
    code: str = ""
    text: str = ""


@dataclass(frozen=True, slots=True)
class RuledOut:
    """An answer that rules out one value of several and so makes nothing known; ``why`` says it."""

    why: str


Fields = dict[str, Any]
"""What a value brings into a reading: ``value`` and ``unit``, or ``absent``."""

ReadValue = Fields | Wrong | Unclear | RuledOut


@dataclass(frozen=True, slots=True)
class Units:
    """The units of one finding. ``accepts`` are UCUM codes; ``default`` is what a site says of a bare number."""

    accepts: frozenset[str]
    default: str | None = None

    @property
    def expected(self) -> str:
        """The accepted units, to be shown."""
        return "a number with one of the units " + ", ".join(sorted(self.accepts))

    @property
    def dimensionless(self) -> str | None:
        """The unit of a bare count or score, where that is the only reading possible."""
        bare = [unit for unit in self.accepts if unit == "1" or unit.startswith("{")]
        return bare[0] if len(bare) == 1 else None


def units_of(accepts: Iterable[str], unit: str, default: str | None = None) -> Units:
    """Return the units of a finding: its own and those that it accepts."""
    return Units(frozenset(taken((unit, *accepts))), default)


def number_text(value: object) -> str | None:
    """Return a JSON number as text with the digits given, without exponent; None where it is no usable number."""
    if isinstance(value, bool) or not isinstance(value, (int, float, Decimal)):
        return None
    if isinstance(value, float):
        if not math.isfinite(value):
            return None
        value = Decimal(repr(value))
    if isinstance(value, int):
        return str(value) if abs(value) < 10**_LARGEST else None
    if not value.is_finite() or (value and abs(value.adjusted()) > _LARGEST):
        return None
    exponent = value.as_tuple().exponent
    return format(value, "f") if isinstance(exponent, int) and abs(exponent) <= 2 * _LARGEST else None


def ucum(unit: str) -> str:
    """Return a printed unit as UCUM where we know it; otherwise as it is."""
    return printed_units().get(unit.strip().casefold(), unit)


def unit_of(quantity: Resource, units: Units) -> str | Wrong:
    """Return the UCUM unit of a Quantity, or what is wrong with it."""
    code, printed = text(quantity.get("code")), text(quantity.get("unit"))
    if not code and not printed:
        if units.default:
            return units.default
        return Wrong("unit", "a number without a unit", shown(quantity.get("value")), units.expected)
    accepted = _accepted(code or printed, units, known_ucum=bool(code) and quantity.get("system") == SYSTEMS["ucum"])
    if accepted is None:
        return Wrong("unit", "a unit that this finding does not have", shown(code or printed), units.expected)
    said = _accepted(printed, units, known_ucum=False) if code and printed else accepted
    if said is not None and said != accepted:
        return Wrong("contradiction", "code and unit of one number differ", f"{code}, {printed}", "one unit")
    return accepted


def _accepted(unit: str, units: Units, *, known_ucum: bool) -> str | None:
    if unit in units.accepts:
        return unit
    bare = _without_annotation(unit)
    for same in (bare, f"{bare[:-1]}L"):
        # UCUM writes the liter with a small letter too
        if same in units.accepts and same.casefold() == bare.casefold():
            return same
    meant = None if known_ucum else ucum(unit)
    return meant if meant in units.accepts else None


def _without_annotation(unit: str) -> str:
    """Return a UCUM unit without its remarks: ``{beats}/min`` is ``/min``."""
    start, end = unit.find("{"), unit.find("}")
    return unit[:start] + unit[end + 1 :] if 0 <= start < end and len(unit) > end - start + 1 else unit


def quantity(value: object, units: Units) -> ReadValue:
    """Read a Quantity."""
    element = mapping(value)
    number = number_text(element.get("value"))
    if number is None:
        if element.get("value") is None:
            return Unclear("a quantity without a value", text=shown(element.get("unit") or ""))
        return Wrong("value", "this is not a usable number", shown(element.get("value")), units.expected, ".value")
    unit = unit_of(element, units)
    if isinstance(unit, Wrong):
        return unit
    comparator = element.get("comparator")
    if comparator is None:
        return {"value": number, "unit": unit}
    word = _COMPARATORS.get(comparator) if isinstance(comparator, str) else None
    if word is None:
        return Wrong("structure", "no comparator of FHIR", shown(comparator), "<, <=, >= or >", ".comparator")
    return {"value": {word: number}, "unit": unit}


def a_range(value: object, units: Units) -> ReadValue:
    """Read a Range: both ends, or the one that is given."""
    ends = {key: quantity(mapping(value)[key], units) for key in ("low", "high") if key in mapping(value)}
    if not ends:
        return Unclear("a range without ends")
    for key, end in ends.items():
        if not isinstance(end, dict):
            return end
        if isinstance(end["value"], dict):
            return Wrong("structure", "an end of a range with a comparator", shown(end["value"]), "a number", f".{key}")
    return _between({key: end for key, end in ends.items() if isinstance(end, dict)})


def _between(ends: dict[str, Fields]) -> ReadValue:
    if len(ends) == 1:
        ((key, end),) = ends.items()
        return {"value": {"at_least" if key == "low" else "at_most": end["value"]}, "unit": end["unit"]}
    low, high = ends["low"], ends["high"]
    if low["unit"] != high["unit"]:
        return Wrong("contradiction", "the ends of a range have different units", f"{low['unit']}, {high['unit']}")
    if Decimal(low["value"]) > Decimal(high["value"]):
        return Wrong("contradiction", "a range that ends before it begins", f"{low['value']} to {high['value']}")
    return {"value": {"between": [low["value"], high["value"]]}, "unit": low["unit"]}


def whole(value: object, units: Units) -> ReadValue:
    """Read a valueInteger, which FHIR gives no unit: only counts and scores can be meant."""
    number = number_text(value)
    if number is None or not isinstance(value, int):
        return Wrong("value", "this is not a whole number", shown(value), "a whole number")
    unit = units.dimensionless or units.default
    if unit is None:
        return Wrong("unit", "a number without a unit", number, units.expected)
    return {"value": number, "unit": unit}


_IN_WORDS = re.compile(
    r"(\d{1,3})\s*(?:lb|lbs|pound|pounds)\.?\s*,?\s*(?:and\s+)?(\d{1,2}(?:\.\d{1,3})?)\s*(?:oz|ounce|ounces)\.?",
    re.IGNORECASE,
)


_NUMBER_IN_WORDS = re.compile(r"(<=|>=|<|>)?\s*(\d{1,6}(?:\.\d{1,4})?)\s*([^\s\d.,][^\s]{0,19})", re.ASCII)
_WEEKS_AND_DAYS = re.compile(
    r"(\d{2})\s*(?:(?:w|wk|wks|weeks?)\.?\s*(?:,|\+|and|&)?\s*([0-6])\s*(?:d|days?)\.?|\+\s*([0-6])|\s([0-6])/7(?:\s*(?:wk|wks|weeks?))?)",
    re.IGNORECASE | re.ASCII,
)
"""36w2d, 36 weeks and 2 days, 36+2, 36 2/7: nobody means anything else by these."""


def in_words(said: str, units: Units) -> Fields | None:
    """Return a number that is written out with its unit: ``38.6 C``, ``>25 mg/dL``; a weight as ``7 lb 4 oz`` in
    ounces; a gestation as ``36w2d`` in days.

    None where it is something else: a comma may part thousands or decimals, and pounds alone may lack their ounces.
    """
    said = said.strip()
    plainly = _NUMBER_IN_WORDS.fullmatch(said)
    unit = _accepted(plainly[3], units, known_ucum=False) if plainly else None
    if plainly and unit and unit not in ("[lb_av]", "[oz_av]"):
        value = {_COMPARATORS[plainly[1]]: plainly[2]} if plainly[1] else plainly[2]
        return {"value": value, "unit": unit, "given": said}
    weeks = _WEEKS_AND_DAYS.fullmatch(said) if {"wk", "d"} <= units.accepts else None
    if weeks:
        return {"value": _days(weeks[1], weeks[2] or weeks[3] or weeks[4]), "unit": "d", "given": said}
    found = _IN_WORDS.fullmatch(said)
    if found is None or not {"[lb_av]", "[oz_av]"} <= units.accepts or Decimal(found[2]) >= _OUNCES:
        return None
    total = int(found[1]) * _OUNCES + Decimal(found[2])
    return {"value": format(total, "f"), "unit": "[oz_av]", "given": said}


def _days(weeks: str, days: str) -> str:
    return str(int(weeks) * _DAYS + int(days))


def weeks_and_days(first: Fields, second: Fields) -> Fields | None:
    """Return the sum in days of whole weeks and days below a week that were sent apart; None for anything else."""
    by_unit = {fields.get("unit"): fields.get("value") for fields in (first, second)}
    weeks, days = by_unit.get("wk"), by_unit.get("d")
    if not (isinstance(weeks, str) and isinstance(days, str) and weeks.isdigit() and days.isdigit()):
        return None
    return {"value": _days(weeks, days), "unit": "d"} if int(days) < _DAYS else None


def pounds_and_ounces(first: Fields, second: Fields) -> Fields | None:
    """Return the sum in ounces of pounds and ounces that were sent apart; None where they are something else."""
    by_unit = {fields.get("unit"): fields.get("value") for fields in (first, second)}
    pounds, ounces = by_unit.get("[lb_av]"), by_unit.get("[oz_av]")
    if not isinstance(pounds, str) or not isinstance(ounces, str):
        return None
    total = Fraction(pounds) * 16 + Fraction(ounces)
    exact = Decimal(total.numerator) / Decimal(total.denominator)
    return {"value": format(exact, "f"), "unit": "[oz_av]"} if Fraction(exact) == total else None
