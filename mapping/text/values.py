"""Values as people write them: units in plain signs, a conversion with the digits that were recorded."""

from __future__ import annotations

import re
from decimal import Decimal

from layette.engine.answer.parts.assessment import Measured
from layette.engine.answer.shapes.proposed import Used
from layette.mapping.text.clock import Clock
from layette.mapping.words.rules import UNITS

_WRITTEN = {unit: said for unit, said in UNITS.items() if unit != "1"} | {
    "umol/L": "µmol/L", "mg/dL/h": "mg/dL an hour", "cm/wk": "cm a week", "mL/d": "mL a day", "[foz_us]": "fl oz",
    "{SD}": "SD",
}  # fmt: skip
_UNIT = re.compile(
    r"(?<=\d) (" + "|".join(re.escape(unit) for unit in sorted(_WRITTEN, key=len, reverse=True)) + r")(?![\w/*\]}])"
)
_NOTED = re.compile(r"(?<=\d) \{([^{}]*)\}")
_ONE = re.compile(r"(?<![\d.])1 (day|week)s\b")
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_PERCENTILE = re.compile(r"\bp(\d{1,2})\b")
_CENTILE = re.compile(r"(\d+)(?:\.\d+)? centile")
_FAR = {"0": "below the 1st", "100": "above the 99th"}
"""A centile that was rounded to one that there is not."""
_LEAST_DIGITS = 3
_MOST_DIGITS = 7
_KEPT = 4
OPPOSITES = (("Loss of", "Gain over"), ("Gain", "Loss"), ("Rise of", "Fall of"), (" above ", " below "))
"""A negative loss is a gain: what a measure is called where its value is below zero."""


def units(text: str) -> str:
    """Return text with its units as people write them: ``7.275 [lb_av]`` is ``7.275 lb``."""
    plain = _NOTED.sub(r" \1", _UNIT.sub(lambda found: f" {_WRITTEN[found[1]]}".rstrip(), text))
    return _CENTILE.sub(lambda found: f"{_FAR.get(found[1]) or ordinal(found[1])} centile", _ONE.sub(r"1 \1", plain))


def ordinal(number: str) -> str:
    """Return ``54th``, ``1st``, ``12th``."""
    last = "th" if number[-2:] in ("11", "12", "13") else {"1": "st", "2": "nd", "3": "rd"}.get(number[-1], "th")
    return number + last


def value(used: Used) -> str:
    """Return what was recorded and, where it was converted, what that is in the digits that were recorded."""
    notes = [note for note in (used.note or "").split("; ") if note]
    converted = [note.removeprefix("= ") for note in notes if note.startswith("= ")]
    rest = [note for note in notes if not note.startswith("= ") and used.time]
    digits = max([_LEAST_DIGITS, *(_digits(number) for number in _NUMBER.findall(used.value))])
    same = {_significant(number) for number in _NUMBER.findall(used.value)}
    converted = [text for text in converted if not {*map(_significant, _NUMBER.findall(text))} <= same]
    turned = [units(_NUMBER.sub(lambda found: _rounded(found[0], digits), text)) for text in converted]
    told = units(used.value)
    if digits > _MOST_DIGITS:  # a feed that computed: the number is for reading, and stands whole beside it
        told = f"{units(_NUMBER.sub(lambda found: _rounded(found[0], _KEPT), used.value))} (recorded {told})"
    return told + "".join(f" ({part})" for part in (*turned, *rest))


def dated(used: Used, clock: Clock) -> str:
    """Return a value with its day, where that is not the visit's."""
    day = f", {clock.day(used.time)}" if used.time and not clock.today(used.time) else ""
    return value(used) + day


def found(used: Used, clock: Clock) -> str:
    """Return a recording by its name: ``Red reflex, left: absent``."""
    return f"{used.label}: {dated(used, clock)}"


def is_telling(one: Measured) -> bool:
    """Whether a measure of which one end is not known says something: on which side of nothing it lies.

    A line of which only a bound is known (a gestation outside its set) would be read as the line itself.
    """
    if one.category or (one.low and one.high):
        return True
    return (one.low is not None and float(one.low) >= 0) or (one.high is not None and float(one.high) <= 0)


def measured(one: Measured) -> tuple[str, str]:
    """Return the name and the value of a measure, a value below zero under the opposite name."""
    text = _PERCENTILE.sub(lambda part: ordinal(part[1]), one.text)
    text = units(text + " centile" if text != one.text else text)
    label = one.label.removesuffix(" centile") if text.endswith(" centile") else one.label
    text = text.removesuffix(" a day") if " a day" in label else text
    if text.startswith("-") and " to " not in text:
        for name, opposite in OPPOSITES:
            if name in label:
                return label.replace(name, opposite, 1), re.sub(r"-(?=\d)", "", text)
    return label, text


def _significant(number: str) -> str:
    """Return the digits of a number alone: 3255 g and 3.255 kg have the same."""
    return number.replace(".", "").strip("0")


def _digits(number: str) -> int:
    return len(number.replace(".", "").lstrip("0"))


def _rounded(number: str, digits: int) -> str:
    """Return a number with so many digits, never fewer than it has before the point."""
    exact = Decimal(number)
    places = digits - 1 - exact.adjusted() if exact else 0
    if places >= -int(exact.as_tuple().exponent):  # a conversion is never written with more than it has
        return number
    return str(round(exact, max(places, 0))) if places > 0 else str(round(exact))
