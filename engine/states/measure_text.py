"""The text of the function that computes a measure from a visit, made of what the measure declares.

Written out, a measure costs what it would cost bound by hand, and a visit computes some forty. The text holds keys of
the declaration and fixed words, nothing of a pack: what a pack wrote reaches the function as values. That of
``difference`` is

    def compute(inputs, written):
        v_minus = inputs.number(written['minus'])
        if v_minus is None:
            return nothing
        v_of = inputs.number(written['of'])
        if v_of is None:
            return nothing
        made = function(v_of.interval, in_unit(v_minus, v_of.unit))
        return Result(made, v_of.unit, None, behind(v_of, v_minus), v_of.time, '')
"""

from __future__ import annotations

from collections.abc import Iterator
from string import Formatter

from layette.engine.exact.times import DAY
from layette.engine.measures.input_kinds import (
    AS_IT_IS,
    OF_TABLE,
    SAME,
    VISIT,
    AgeAt,
    AmountOfTime,
    BirthMonth,
    Flag,
    Input,
    Lines,
    Of,
    Pair,
    Sex,
    Table,
    TimeOf,
    Word,
)
from layette.engine.measures.registry import MeasureFunction
from layette.engine.states.inputs import HOUR

_SECONDS_IN = {"h": HOUR, "d": DAY}
_AGE_IN = {"h": "hours", "d": "days"}


def text_of(declared: MeasureFunction) -> str:
    """Return the text of ``compute(inputs, written)``; the words it uses are given to it by `states.measures`."""
    return "\n".join(("def compute(inputs, written):", *(f"    {line}" for line in _lines(declared)))) + "\n"


def _lines(declared: MeasureFunction) -> Iterator[str]:
    yield from _table(declared)
    for pair in declared.of_kind(Pair):
        yield from _pair(pair)
    # the last is asked first: it is mostly a recording, while the first may have to be computed
    for key in reversed(_singles(declared)):
        yield from _single(key, declared)
    for word in declared.of_kind(Word):
        if word.of == "line":
            yield f"if written[{word.key!r}] not in table.lines:"
            yield f"    return without_line(table, written[{word.key!r}])"
    arguments = [argument for one in declared.inputs for argument in _arguments(one, declared)]
    yield f"made = function({', '.join(arguments)})"
    yield _answer(declared)


def _table(declared: MeasureFunction) -> Iterator[str]:
    for table in declared.of_kind(Table):
        yield f"table = inputs.table(written[{table.key!r}])"
        yield "if table is None:"
        yield f"    return not_supplied('table ' + str(written[{table.key!r}]))"
    for lines in declared.of_kind(Lines):
        yield f"choice = inputs.setting(written[{lines.key!r}])"
        yield "table = inputs.table(choice)"
        yield f"if not isinstance(table, {lines.kind.__name__}):"
        yield "    return not_supplied(f\"threshold table '{choice}'\")"


def _pair(pair: Pair) -> Iterator[str]:
    yield f"later, earlier = latest_and_before(inputs, written[{pair.of!r}], written)"
    yield "if later is None or earlier is None or later.time is None or earlier.time is None:"
    yield "    return nothing"
    yield "if later.time.lo - earlier.time.hi < max(seconds(written.get('at_least_apart', '0 h')), 1):"
    yield f"    return too_close(later, earlier, {pair.too_close!r})"


def needed(declared: MeasureFunction) -> list[str]:
    """Return the keys of the single numbers without any of which nothing is known of a measure."""
    optional = {one.key for one in declared.of_kind(Of) if one.may_be_unknown}
    return [key for key in _singles(declared) if key not in optional]


def _singles(declared: MeasureFunction) -> list[str]:
    """Return the keys of single numbers, each once, in the order of the inputs."""
    singles = [one for one in declared.inputs if isinstance(one, Of | AgeAt | TimeOf)]
    return list(dict.fromkeys(key.name for one in singles for key in one.keys))


def _single(key: str, declared: MeasureFunction) -> Iterator[str]:
    timed = {one.at for one in declared.of_kind(AgeAt)} | {one.key for one in declared.of_kind(TimeOf)}
    without = "nothing"
    if declared.gives == "category":
        without = "Result(categories=table.bands)"
    elif declared.unit == OF_TABLE:
        without = "Result(unit=table.unit, basis=table.label)"
    look = "timed" if any(one.key == key for one in declared.of_kind(TimeOf)) else "number"
    yield f"v_{key} = inputs.{look}(written[{key!r}])"
    if key in needed(declared):
        yield f"if v_{key} is None{f' or v_{key}.time is None' if key in timed else ''}:"
        yield f"    return {without}"


def _arguments(one: Input, declared: MeasureFunction) -> tuple[str, ...]:
    """Return the expressions for the parameters that an input fills."""
    match one:
        case Of(key):
            return (_converted(one, declared),)
        case AgeAt(at, unit):
            return (f"inputs.clock.{_AGE_IN[unit]}({'inputs.visit.at' if at == VISIT else f'v_{at}.time'})",)
        case TimeOf(key):
            return (f"in_seconds(v_{key}.time)",)
        case Pair():
            elapsed = f"elapsed(earlier.time, later.time, {_SECONDS_IN[one.apart]})"
            return f"in_unit(later, {one.unit!r})", f"in_unit(earlier, {one.unit!r})", elapsed
        case Sex():
            return ("sex_of(inputs.visit)",)
        case BirthMonth():
            return ("month_from_july(inputs.visit)",)
        case Flag(key):
            return (f"inputs.flag(written[{key!r}]) if {key!r} in written else None",)
        case AmountOfTime(key, unit):
            return (f"amount_of_time(written[{key!r}], {_SECONDS_IN[unit]})",)
        case Word(key):
            return (f"str(written[{key!r}])",)
    return ("table",)


def _converted(of: Of, declared: MeasureFunction) -> str:
    value = f"v_{of.key}"
    if of.unit == AS_IT_IS:
        return f"{value}.interval"
    unit = {SAME: f"v_{declared.as_it_is}.unit", OF_TABLE: "table.unit"}.get(of.unit, repr(of.unit))
    converted = f"in_unit({value}, {unit})"
    return f"NOTHING_KNOWN if {value} is None else {converted}" if of.may_be_unknown else converted


def _answer(declared: MeasureFunction) -> str:
    values = ["later", "earlier"] if declared.of_kind(Pair) else [f"v_{key}" for key in _singles(declared)]
    unit = {SAME: f"v_{declared.as_it_is}.unit", OF_TABLE: "table.unit"}.get(declared.unit, repr(declared.unit))
    used = f"{values[0]}.used" if len(values) == 1 else f"behind({', '.join(values)})" if values else "()"
    time = f"{values[0]}.time" if values and not declared.of_the_visit else "None"
    number, categories = (
        ("NOTHING_KNOWN", "possible(table, made)") if declared.gives == "category" else ("made", "None")
    )
    return f"return Result({number}, {unit}, {categories}, {used}, {time}, {_basis(declared)})"


def _basis(declared: MeasureFunction) -> str:
    """Return the expression for what an answer rests on."""
    if not isinstance(declared.basis, str):
        return "basis(made, written)"
    if not declared.basis:
        return "table.label" if any(isinstance(one, Table | Lines) for one in declared.inputs) else "''"
    parts = Formatter().parse(declared.basis)
    said = [text for words, key, *_ in parts for text in (repr(words), key and f"said(written[{key!r}])") if text]
    return " + ".join(text for text in said if text != "''")
