"""What the page is made of: steps, findings, values, units and words, all from the pack. Another pack, another page."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import Any

from layette.engine.api import Pack
from layette.engine.exact.units import convert
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.shape import AskAfter
from layette.engine.pack.written.shapes import FindingsFile, FindingShape, NumberShape, listed
from layette.mapping.pages.exam.conditions import shown_when
from layette.mapping.pages.exam.labels import Labels, Words
from layette.mapping.pages.exam.orders import orders
from layette.mapping.words.rules import UNITS

_SIGNS = {"umol/L": "µmol/L", "[foz_us]": "fl oz", "{score}": "points"}


def model(pack: Pack) -> dict[str, Any]:
    """Return the page's model as plain data: `areas` in the order of the pack, with their findings and normals."""
    labels = Labels(pack)
    return {
        "pack": f"{pack.id} {pack.version}",
        "digest": pack.digest[:8],
        "caution": pack.shape.caution.strip(),
        "zone": pack.site.timezone,
        "oldest": pack.oldest_days,
        "areas": [_area(pack, area, labels) for area in pack.areas],
        "orders": orders(pack, labels),
        "measures": sorted(measures_asked(pack)),
    }


def _area(pack: Pack, area: FindingsFile, labels: Labels) -> dict[str, Any]:
    normal = {
        name: {"label": labels.system(name), "fills": dict(shape.spreads), "leaves": list(shape.leaves_out)}
        for name, shape in area.normal.items()
    }
    findings = [_finding(pack, name, shape, labels) for name, shape in area.findings.items()]
    return {"area": area.area, "findings": findings, "normal": normal}


def _finding(pack: Pack, name: str, shape: FindingShape, labels: Labels) -> dict[str, Any]:
    made: dict[str, Any] = {"name": name, "label": labels.finding(name), "ask": _ask(shape)}
    after = shown_when(shape.ask.after) if isinstance(shape.ask, AskAfter) else None
    flags = {"sides": bool(shape.sides), "hand": shape.by_hand, "private": shape.private, "awaited": shape.awaited}
    made |= {name: True for name, on in flags.items() if on}
    made |= {"values": _values(pack, name, shape, labels)} if shape.values else {}
    made |= {"number": _number(shape.number)} if shape.number else {}
    parts = {
        "after": after, "applies": shown_when(shape.applies_when) if shape.applies_when else None,
        "parts": shape.readings.parts if shape.readings else None, "qualifier": _qualifiers(shape, labels),
        "say": labels.say(name), "how": shape.how and shape.how.text, "question": _question(shape),
        "variant": labels.variants(name), "expected": _usual(pack, name, shape),
    }  # fmt: skip
    return made | {key: value for key, value in parts.items() if value}


def _ask(shape: FindingShape) -> str:
    if isinstance(shape.ask, AskAfter):
        return "after"
    return shape.ask or "first"


def _values(pack: Pack, name: str, shape: FindingShape, labels: Labels) -> list[dict[str, Any]]:
    expected = listed(shape.expected)
    made: list[dict[str, Any]] = [
        {"value": value, "label": labels.value(name, value)} | ({"expected": True} if value in expected else {})
        for value in shape.values or ()
    ]
    coarse = pack.subjects.coarse(name)
    return made + [{"value": value, "label": labels.value(name, value), "coarse": True} for value in coarse]


def _usual(pack: Pack, name: str, shape: FindingShape) -> str | None:
    """Return the value that one touch records as expected; None where every value is, or none: a fact has no mark."""
    expected = listed(shape.expected)
    if not expected or not shape.values or set(expected) == set(shape.values):
        return None
    spread = (normal.spreads.get(name) for normal in pack.normals.values())
    return next((value for value in spread if value), expected[0])


def _number(number: NumberShape) -> dict[str, Any]:
    """Return the accepted units, each as ``[unit, sign, factor, offset]``: what is typed times factor plus offset is in
    the first one; and what is physically possible in that one."""
    units = [number.unit, *(unit for unit in number.accepts if unit != number.unit)]
    return {"units": [_unit(unit, number.unit) for unit in units], "plausible": list(number.plausible)}


def _unit(unit: str, to: str) -> list[Any]:
    return [unit, _SIGNS.get(unit, UNITS.get(unit, unit)), *scaled(unit, to)]


def scaled(unit: str, to: str) -> tuple[float, float]:
    """Return the factor and the offset by which a number in ``unit`` is turned into one in ``to``."""
    zero, one = (convert(Fraction(n), unit, to) for n in (0, 1))
    return float(one - zero), float(zero)


def _qualifiers(shape: FindingShape, labels: Labels) -> dict[str, list[list[Any]]]:
    return {name: [[one, labels.word(one)] for one in values] for name, values in shape.qualifier.items()}


def _question(shape: FindingShape) -> Words | None:
    return None if shape.question is None else {"en": shape.question.en, "es": shape.question.spanish}


@lru_cache(maxsize=8)
def measures_asked(pack: Pack) -> frozenset[str]:
    """Return the measures on which the page's own conditions hang; the answer brings their values."""
    after = [shape.ask.after for shape in pack.findings.values() if isinstance(shape.ask, AskAfter)]
    return frozenset(
        name for written in after for key in keys_in(written) if (name := key.split(".")[0]) in pack.measures
    )
