"""Labels, values and numbers as they are printed."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from layette.engine.answer.parts.assessment import Code, Used
from layette.engine.answer.parts.context import Context
from layette.engine.exact.ranges import Range, show_range
from layette.engine.exact.times import day_number
from layette.engine.exact.units import convert, plain
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.rule_shapes import TargetShape
from layette.engine.pack.written.shapes import listed
from layette.engine.pack.written.spoken import filled, said
from layette.engine.pack.written.views import View, cell
from layette.engine.states.inputs import Result
from layette.engine.terms import CODE_SYSTEMS
from layette.engine.visit.visit import Recorded, Visit

AWAITS = " [awaits review]"
"""What stands behind words for the family that nobody who speaks the language has read yet."""


def label_of(pack: CompiledPack, view: View) -> str:
    """Say what a view looks at."""
    name = view.subject
    if name.startswith("setting:"):
        return pack.settings[name.removeprefix("setting:")].label
    if name in pack.findings:
        text = pack.findings[name].label
    elif name in pack.measures:
        text = pack.measures[name].label
    else:
        text = name.replace("_", " ").capitalize()
    text += f", {view.side}" if view.side else ""
    text += f", attempt {view.attempt}" if view.attempt else ""
    text += f", {view.part}" if view.part else ""
    text += {"earlier": ", earlier", "highest": ", highest", "lowest": ", lowest"}.get(view.pick, "")
    text += f" ({view.qualifier})" if view.qualifier else ""
    return text + {"age": ", age at", "since": ", time since", "unequal": ", sides unequal"}.get(view.what, "")


def used_value(reading: Recorded, pack: CompiledPack, view: View | None = None) -> Used:
    """Return a recording for print, with the converted value beside the given one."""
    shape = pack.findings[reading.finding]
    label = label_of(pack, view) if view else label_of(pack, View(reading.finding, reading.side, 0, reading.part))
    given = reading.given if shape.number else words(reading.given)
    if reading.absent:
        given = f"no value ({reading.absent})"
    notes = [f"= {reading.converted}"] if reading.converted else []
    notes += [f"from '{reading.spread_from}: normal'"] if reading.spread_from else []
    notes += ["reported by the family"] if reading.reported else []
    notes += [reading.status] if reading.status != "final" else []
    return Used(
        subject=reading.finding,
        label=label,
        value=given,
        time=reading.time.text,
        origin=reading.origin or None,
        note="; ".join(notes) or None,
    )


def words(value: str) -> str:
    """Return a value's name as words."""
    return value.replace("_", " ")


def measure_text(name: str, result: Result, context: Context) -> str:
    """Return a measure's value with its unit, in the digits that it deserves."""
    if name not in context.measure_texts:
        context.measure_texts[name] = _measure_text(name, result, context)
    return context.measure_texts[name]


def _measure_text(name: str, result: Result, context: Context) -> str:
    if result.categories is not None:
        return " or ".join(words(c) for c in result.categories) if result.categories else "not known"
    if result.span == (None, None):
        return "not known"
    low, high = (measure_number(name, end, context) for end in result.span)
    if low is None or high is None:
        text = show_range(Range(*result.span), context.pack.measures[name].digits)
    else:
        text = low if low == high else f"{low} to {high}"
    return f"{text} {result.unit}{_in_unit_of_finding(name, result, context.pack)}".strip()


def _in_unit_of_finding(name: str, result: Result, pack: CompiledPack) -> str:
    """A line is computed in its set's own unit; people also see it in the unit of the value beside it."""
    given = pack.measures[name].model_extra or {}
    shape = pack.findings.get(str(given.get("of", "")).split(".")[0])
    unit = shape.number.unit if shape and shape.number else result.unit
    ends = {end for end in result.span if end is not None}
    if pack.measures[name].compute not in ("threshold", "margin") or unit == result.unit or not ends:
        return ""
    turned = [plain(convert(end, result.unit, unit), 1) for end in sorted(ends)]
    return f" (= {' to '.join(dict.fromkeys(turned))} {unit})"


def measure_number(name: str, value: Fraction | None, context: Context) -> str | None:
    """Print one end of a measure, with as many decimals as keep it on its own side of every cut point."""
    if value is None:
        return None
    pack, numbered = context.pack, context.plan.states.variables_of.get(name, ())
    cuts = [pack.table.cuts(var) for var, entry in numbered if entry.kind == "number"]
    digits = pack.measures[name].digits
    for more in range(5):
        text = plain(value, digits + more)
        if all(cell(c, Fraction(text)) == cell(c, value) for c in cuts):
            return text
    return text


def age_text(visit: Visit) -> str:
    """Say the age in days and hours; a range where the time of birth is not exactly known."""
    days = [day_number(visit.at.lo, visit.zone) - day_number(b, visit.zone) for b in (visit.born.hi, visit.born.lo)]
    hours = [(visit.at.lo - b) // 3600 for b in (visit.born.hi, visit.born.lo)]
    day_words = f"{days[0]}" if days[0] == days[1] else f"{days[0]}–{days[1]}"
    hour_words = f"{hours[0]}" if hours[0] == hours[1] else f"{hours[0]}–{hours[1]}"
    return f"{day_words} {'day' if day_words == '1' else 'days'} ({hour_words} h)"


def plain_of(target: TargetShape, context: Context) -> dict[str, str]:
    """Return the words for the family by language, with the choices in force; a text that awaits review says so."""
    out = {}
    for language in target.plain:
        one = said(target.plain, language)
        if one is not None:
            text, review = filled(one, language, context.pack.settings, context.settings)
            out[language] = text + (AWAITS if review else "")
    return out


def codes_of(shape: Any) -> tuple[Code, ...]:
    """Return the codes of a target or measure with their systems' addresses."""
    return tuple(Code(system=CODE_SYSTEMS[s], code=code) for s, codes in shape.codes.items() for code in listed(codes))
