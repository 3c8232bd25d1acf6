"""Reading one value: from what was written to what it can be, exactly, or a problem that says what is wrong."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import lru_cache
from itertools import islice
from numbers import Number
from typing import Any

from layette.engine.errors import InputProblem
from layette.engine.exact.ranges import Possible, Range, show_range
from layette.engine.exact.units import UnitMismatchError, convert, exact, taken
from layette.engine.pack.written.shapes import FindingShape, NumberShape
from layette.engine.terms import BOUNDS

_MOST_DIGITS = 18
LONGEST_SHOWN = 120
_FIRST, _DEEPEST_SHOWN = 5, 3
Read = tuple[Possible, str, str]
"""What it can be; as given, with unit; converted into the finding's unit where that differs."""


def read_value(
    shape: FindingShape,
    coarse: Mapping[str, tuple[str, ...]],
    value: Any,
    unit: Any,
    path: str,
    problems: list[InputProblem],
) -> Read | None:
    """Return what ``value`` can be, or report why it cannot be used."""
    if shape.number is not None:
        return _read_number(shape, shape.number, value, unit, path, problems)
    if isinstance(value, bool) and {"yes", "no"} <= set(shape.values or ()):
        value = "yes" if value else "no"
    if value in (shape.values or ()):
        return frozenset({str(value)}), str(value), ""
    if isinstance(value, str) and value in coarse:
        return frozenset(coarse[value]), value, ""
    expected = ", ".join([*(shape.values or ()), *coarse])
    problems.append(InputProblem(path, "value", f"not a value of '{shape.label}'", shown(value), expected))
    return None


def _read_number(
    shape: FindingShape, number: NumberShape, value: Any, unit: Any, path: str, problems: list[InputProblem]
) -> Read | None:
    if unit is None or (unit != number.unit and unit not in taken(number.accepts)):
        what = "a number needs its unit" if unit is None else f"not a unit of '{shape.label}'"
        problems.append(InputProblem(f"{path}.unit", "unit", what, shown(unit or ""), _accepted(number)))
        return None
    bounds = _bounds(value)
    if bounds is None:
        problems.append(
            InputProblem(path, "value", f"'{shape.label}' is a number", shown(value), f"a number in {unit}")
        )
        return None
    given = f"{_written(value)} {unit}"
    try:
        turned = _turned(bounds, str(unit), number)
    except UnitMismatchError as error:
        problems.append(InputProblem(f"{path}.unit", "unit", str(error), str(unit), _accepted(number)))
        return None
    if not _plausible(turned, number):
        low, high = number.plausible
        what, expected = f"not physically possible for '{shape.label}'", f"{low:g} to {high:g} {number.unit}"
        problems.append(InputProblem(path, "implausible", what, given, expected))
        return None
    return turned, given, "" if unit == number.unit else _shown(turned, number)


def _accepted(number: NumberShape) -> str:
    return ", ".join(dict.fromkeys([number.unit, *number.accepts]))


def _bounds(value: Any) -> Range | None:
    if isinstance(value, int | float | str | Decimal) or not isinstance(value, Mapping):
        number = _number(value)
        return None if number is None else Range(number, number)
    if set(value) == {"between"} and isinstance(value["between"], list | tuple) and len(value["between"]) == 2:
        low, high = map(_number, value["between"])
        return None if low is None or high is None or low > high else Range(low, high)
    found = {key: _number(bound) for key, bound in value.items()}
    if not found or None in found.values() or not found.keys() <= {*BOUNDS}:
        return None
    if {"more_than", "at_least"} <= found.keys() or {"below", "at_most"} <= found.keys():
        return None
    low_key = "more_than" if "more_than" in found else "at_least"
    high_key = "below" if "below" in found else "at_most"
    low, high = found.get(low_key), found.get(high_key)
    if low is not None and high is not None and (low > high or (low == high and {"more_than", "below"} & found.keys())):
        return None
    return Range(low, high, low_key == "more_than" and low is not None, high_key == "below" and high is not None)


_WRITTEN = re.compile(r"\s*[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?\s*", re.ASCII)


def _number(value: Any) -> Fraction | None:
    if isinstance(value, bool) or not isinstance(value, int | float | str | Decimal | Fraction):
        return None
    if isinstance(value, str) and not _WRITTEN.fullmatch(value):
        return None  # Python would read 3_1.5 as 31.5, and digits of every script
    try:
        number = (
            Decimal(repr(value) if isinstance(value, float) else value) if not isinstance(value, Fraction) else value
        )
        if isinstance(number, Decimal) and not _measurable(number):
            return None
        return exact(number)
    except (ValueError, OverflowError, InvalidOperation):
        return None


def _measurable(number: Decimal) -> bool:
    """Whether a number can come from a measurement: a written ``1e999999999`` would not fit into memory."""
    return number.is_finite() and number.adjusted() <= _MOST_DIGITS and int(number.as_tuple().exponent) >= -_MOST_DIGITS


def shown(value: Any) -> str:
    """Print what was found in an input, in no words of Python, shortened where it is long."""
    try:
        text = value if isinstance(value, str) else _as_written(value, 0)
    except ValueError:  # an integer of thousands of digits
        text = "a number of very many digits"
    return text if len(text) <= LONGEST_SHOWN else text[:LONGEST_SHOWN] + "…"


def kind_of(value: Any) -> str:
    """Return what kind of thing stands somewhere, as whoever writes a file would say it."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "a mapping"
    if isinstance(value, list | tuple):
        return "a list"
    return "a text" if isinstance(value, str) else "a number" if isinstance(value, Number) else "something else"


def _as_written(value: Any, depth: int) -> str:
    """Return a value as it stands in a file of YAML, a few parts of it, three deep."""
    if isinstance(value, Mapping | list | tuple) and depth == _DEEPEST_SHOWN:
        return "…"
    if isinstance(value, Mapping):
        inner = [f"{key}: {_as_written(one, depth + 1)}" for key, one in islice(value.items(), _FIRST)]
        return "{" + ", ".join(inner + ["…"] * (len(value) > _FIRST)) + "}"
    if isinstance(value, list | tuple):
        return (
            "["
            + ", ".join([_as_written(one, depth + 1) for one in value[:_FIRST]] + ["…"] * (len(value) > _FIRST))
            + "]"
        )
    return kind_of(value) if value is None or isinstance(value, bool) else str(value)


def _turned(bounds: Range, unit: str, number: NumberShape) -> Range:
    to, substance = number.unit, number.substance
    low = None if bounds.lo is None else convert(bounds.lo, unit, to, substance)
    if bounds.exact:
        return Range(low, low)
    high = None if bounds.hi is None else convert(bounds.hi, unit, to, substance)
    return Range(low, high, bounds.lo_open, bounds.hi_open)


def _plausible(found: Range, number: NumberShape) -> bool:
    low, high = _ends(*number.plausible)
    if found.lo is not None and (_less(high, found.lo) or (found.exact and _less(found.lo, low))):
        return False
    return found.hi is None or not (_less(found.hi, low) or (found.exact and _less(high, found.hi)))


def _less(one: Fraction, other: Fraction) -> bool:
    """Whether one is less; the operator asks first what kind of numbers they are, which takes ten times as long."""
    return one.numerator * other.denominator < other.numerator * one.denominator


@lru_cache(maxsize=1000)
def _ends(low: float, high: float) -> tuple[Fraction, Fraction]:
    """Return the ends of what is plausible, exactly; each finding has its own, whatever the visit."""
    return exact(low), exact(high)


def _written(value: Any) -> str:
    if not isinstance(value, Mapping):
        return str(value)
    words = {"more_than": ">", "at_least": "≥", "at_most": "≤", "below": "<"}
    if "between" in value:
        return f"{value['between'][0]} to {value['between'][1]}"
    return " and ".join(f"{words[key]} {bound}" for key, bound in value.items())


def _shown(found: Range, number: NumberShape) -> str:
    return f"{show_range(found, digits_of(number))} {number.unit}"


def digits_of(number: NumberShape) -> int:
    """Return the decimals that the finding's resolution deserves."""
    text = f"{Decimal(repr(number.resolution)):f}"
    return len(text.partition(".")[2].rstrip("0"))
