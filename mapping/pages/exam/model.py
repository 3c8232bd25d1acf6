"""What the page is made of: steps, findings, values, units and words, all from the pack. Another pack, another page."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from functools import lru_cache
from typing import Any

from layette.engine.api import Pack
from layette.engine.exact.units import convert
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.shape import AskAfter, Translation
from layette.engine.pack.written.shapes import FindingsFile, FindingShape, NumberShape, listed
from layette.mapping.pages.exam.conditions import shown_when
from layette.mapping.pages.exam.orders import orders
from layette.mapping.words.rules import UNITS

_SPANISH = "es"
_SIGNS = {"umol/L": "µmol/L", "[foz_us]": "fl oz", "{score}": "points"}
Words = Mapping[str, str]
"""A text by language; the English is always there."""


def model(pack: Pack) -> dict[str, Any]:
    """Return the page's model as plain data: `areas` in the order of the pack, with their findings and normals."""
    return {
        "pack": f"{pack.id} {pack.version}",
        "digest": pack.digest[:8],
        "caution": pack.shape.caution.strip(),
        "zone": pack.site.timezone,
        "oldest": pack.oldest_days,
        "areas": [_area(pack, area) for area in pack.areas],
        "orders": orders(pack),
        "measures": sorted(measures_asked(pack)),
    }


def _area(pack: Pack, area: FindingsFile) -> dict[str, Any]:
    normal = {
        name: {"label": {"en": shape.label}, "fills": dict(shape.spreads), "leaves": list(shape.leaves_out)}
        for name, shape in area.normal.items()
    }
    findings = [_finding(pack, name, shape) for name, shape in area.findings.items()]
    return {
        "area": area.area, "label": {"en": area.label}, "step": {"en": area.step}, "record": area.record,
        "findings": findings, "normal": normal,
    }  # fmt: skip


def _finding(pack: Pack, name: str, shape: FindingShape) -> dict[str, Any]:
    made: dict[str, Any] = {"name": name, "label": {"en": shape.label}, "ask": _ask(shape)}
    after = shown_when(shape.ask.after) if isinstance(shape.ask, AskAfter) else None
    flags = {
        "sides": bool(shape.sides), "hand": shape.by_hand, "private": shape.private,
        "mother": shape.subject == "mother", "told": shape.reported, "awaited": shape.awaited, "lasts": shape.carries_over,
    }  # fmt: skip
    made |= {name: True for name, on in flags.items() if on}
    made |= {"values": _values(pack, name, shape)} if shape.values else {}
    made |= {"number": _number(shape.number)} if shape.number else {}
    parts = {
        "after": after, "applies": _applies(shape), "parts": shape.readings.parts if shape.readings else None,
        "qualifier": _qualifiers(pack, shape), "say": _say(pack, name, shape), "how": shape.how and shape.how.text,
        "question": _question(shape), "variant": _variants(pack, name, shape), "expected": _usual(pack, name, shape),
    }  # fmt: skip
    return made | {key: value for key, value in parts.items() if value}


def _ask(shape: FindingShape) -> str:
    if isinstance(shape.ask, AskAfter):
        return "after"
    return shape.ask or "first"


def _values(pack: Pack, name: str, shape: FindingShape) -> list[dict[str, Any]]:
    expected = listed(shape.expected)
    made: list[dict[str, Any]] = [
        {"value": value, "label": _label(pack, name, value), "expected": value in expected}
        for value in shape.values or ()
    ]
    coarse = pack.subjects.coarse(name)
    return made + [
        {"value": value, "label": _label(pack, name, value), "expected": False, "coarse": True} for value in coarse
    ]


def _label(pack: Pack, name: str, value: str) -> Words:
    label = pack.label_of_value(name, value)
    return {"en": value.replace("_", " ")} if label is None else {"en": label.en, _SPANISH: label.es}


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
    zero, one = (convert(Fraction(n), unit, to) for n in (0, 1))
    return [unit, _SIGNS.get(unit, UNITS.get(unit, unit)), float(one - zero), float(zero)]


def _applies(shape: FindingShape) -> Mapping[str, Any] | None:
    """Return for whom it is asked, as far as the page can tell; what it cannot tell is asked."""
    return shown_when(shape.applies_when) if shape.applies_when else None


def _qualifiers(pack: Pack, shape: FindingShape) -> dict[str, list[list[Any]]]:
    words = pack.value_labels
    return {
        name: [[one, {"en": one if one not in words else words[one].en}] for one in values]
        for name, values in shape.qualifier.items()
    }


def _say(pack: Pack, name: str, shape: FindingShape) -> Words | None:
    if not shape.say:
        return None
    spanish = pack.translations[_SPANISH].say.get(name) if _SPANISH in pack.translations else None
    return {"en": shape.say} | ({_SPANISH: spanish.text} if spanish else {})


def _variants(pack: Pack, name: str, shape: FindingShape) -> dict[str, Words]:
    words = pack.translations[_SPANISH].variant if _SPANISH in pack.translations else {}
    return {
        value: {"en": text} | ({_SPANISH: words[name, value].text} if (name, value) in words else {})
        for value, text in shape.variant.items()
    }


def _question(shape: FindingShape) -> Words | None:
    if shape.question is None:
        return None
    spanish = shape.question.es
    return {"en": shape.question.en, _SPANISH: spanish.text if isinstance(spanish, Translation) else spanish}


@lru_cache(maxsize=8)
def measures_asked(pack: Pack) -> frozenset[str]:
    """Return the measures on which the page's own conditions hang; the answer brings their values."""
    after = [shape.ask.after for shape in pack.findings.values() if isinstance(shape.ask, AskAfter)]
    return frozenset(
        name for written in after for key in keys_in(written) if (name := key.split(".")[0]) in pack.measures
    )
