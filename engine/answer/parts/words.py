"""Labels, values and numbers as they are printed."""

from __future__ import annotations

from fractions import Fraction

from layette.engine.answer.laid.labels import label_of
from layette.engine.answer.parts.context import Context
from layette.engine.answer.shapes.part import known
from layette.engine.answer.shapes.proposed import Used
from layette.engine.exact.interval import Span
from layette.engine.exact.ranges import Range, show_range
from layette.engine.exact.times import day_number
from layette.engine.exact.units import as_decimal, convert, plain, rounded
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.views import View
from layette.engine.states.inputs import Result
from layette.engine.visit.visit import Recorded, Visit

_made = known(Used)


def used_value(reading: Recorded, context: Context, view: View | None = None) -> Used:
    """Return a recording for print, with the converted value beside the given one."""
    key = (id(reading), id(view))
    known = context.used.get(key)
    if known is None:
        known = context.used[key] = (_used(reading, context.pack, view), reading, view)
    return known[0]


def _used(reading: Recorded, pack: CompiledPack, view: View | None) -> Used:
    shape = pack.findings[reading.finding]
    label = label_of(pack, view) if view else label_of(pack, View(reading.finding, reading.side, 0, reading.part))
    given = reading.given if shape.number else words(reading.given)
    if reading.absent:
        given = f"no value ({reading.absent})"
    notes = [f"= {reading.converted}"] if reading.converted else []
    notes += [f"from '{reading.spread_from}: normal'"] if reading.spread_from else []
    notes += ["reported by the family"] if reading.reported else []
    notes += [reading.status] if reading.status != "final" else []
    return _made(
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
    span = result.span
    if span == (None, None):
        return "not known"
    low, high = measure_numbers(name, span, context)
    if low is None or high is None:
        text = show_range(Range(*span), context.pack.measures[name].digits)
    else:
        text = low if low == high else f"{low} to {high}"
    return f"{text} {result.unit}{_in_unit_of_finding(name, result.unit, span, context)}".strip()


def _in_unit_of_finding(name: str, of_set: str, span: Span, context: Context) -> str:
    """A line is computed in its set's own unit; people also see it in the unit of the value beside it."""
    unit = context.plan.line_units.get(name, of_set)
    ends = {end for end in span if end is not None}
    if unit == of_set or not ends:
        return ""
    turned = [plain(convert(end, of_set, unit), 1) for end in sorted(ends)]
    return f" (= {' to '.join(dict.fromkeys(turned))} {unit})"


def measure_numbers(name: str, span: Span, context: Context) -> tuple[str | None, str | None]:
    """Print both ends of a measure, each with as many decimals as keep it on its own side of every cut point."""
    known = context.measure_numbers.get(name)
    if known is None:
        low, high = (None if end is None else _measure_number(name, end, context) for end in span)
        known = context.measure_numbers[name] = (low, high)
    return known


def _measure_number(name: str, value: Fraction, context: Context) -> str:
    table, numbered = context.pack.table, context.plan.states.variables_of.get(name, ())
    num, den = value.numerator, value.denominator
    places = [(var, table.place(var, num, den)) for var, entry in numbered if entry.kind == "number"]
    least = context.pack.measures[name].digits
    for digits in range(least, least + 5):
        steps, scale = rounded(value, digits), 10**digits
        if steps * den == num * scale or all(table.place(var, steps, scale) == place for var, place in places):
            break
    return as_decimal(steps, digits)


def age_text(visit: Visit) -> str:
    """Say the age in days and hours; a range where the time of birth is not exactly known."""
    days = [day_number(visit.at.lo, visit.zone) - day_number(b, visit.zone) for b in (visit.born.hi, visit.born.lo)]
    hours = [(visit.at.lo - b) // 3600 for b in (visit.born.hi, visit.born.lo)]
    day_words = f"{days[0]}" if days[0] == days[1] else f"{days[0]}–{days[1]}"
    hour_words = f"{hours[0]}" if hours[0] == hours[1] else f"{hours[0]}–{hours[1]}"
    return f"{day_words} {'day' if day_words == '1' else 'days'} ({hour_words} h)"
