"""Whether a pack's measures give their functions what these declare: keys, names, views, units, tables, words."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from layette.engine.errors import PackProblem
from layette.engine.exact.units import UnitMismatchError, convert, seconds
from layette.engine.measures import REGISTRY
from layette.engine.measures.input_kinds import (
    AS_IT_IS,
    BIRTH,
    OF_TABLE,
    SAME,
    AmountOfTime,
    Key,
    Lines,
    Of,
    Pair,
    Table,
    Word,
)
from layette.engine.measures.registry import MeasureFunction
from layette.engine.pack.checks.sources import check_sources
from layette.engine.pack.written.shapes import FindingShape, MeasureShape, SettingShape, SourceShape, listed
from layette.engine.pack.written.subjects import inputs_of
from layette.engine.pack.written.yaml_nodes import Document
from layette.engine.shape_words import shown_value
from layette.engine.tables.load import Table as LoadedTable

VIEWED = ("number", "time")
"""What a key names by a view: one recording, not all of them."""


@dataclass(frozen=True)
class _Measure:
    """A measure as the pack writes it, beside what its function declares."""

    name: str
    shape: MeasureShape
    declared: MeasureFunction
    document: Document

    @property
    def given(self) -> Mapping[str, Any]:
        """What stands under each key."""
        return self.shape.model_extra or {}

    def problem(self, key: str, code: str, message: str) -> PackProblem:
        """Return a problem at one key; at the measure itself without."""
        return self.document.problem((self.name, key) if key else (self.name,), code, message)


def check_measures(
    measures: Mapping[str, MeasureShape], document: Document, known: Collection[str], tables: Iterable[str]
) -> Iterator[PackProblem]:
    """Yield measures whose function, keys or table do not exist, and rings of measures.

    ``known`` are the findings and conclusions.
    """
    listed_tables = {*tables}
    for name, shape in measures.items():
        if name in known:
            yield document.problem((name,), "duplicate-id", f"'{name}' is a finding already")
        if shape.compute not in REGISTRY:
            message = f"the engine has no measure '{shape.compute}'"
            yield document.problem((name, "compute"), "unknown-function", message)
            continue
        yield from _keys(_Measure(name, shape, REGISTRY[shape.compute], document), known, listed_tables)
    for name in ring(measures):
        yield document.problem((name,), "cycle", f"the measure '{name}' depends on itself")


def _keys(measure: _Measure, known: Collection[str], tables: Collection[str]) -> Iterator[PackProblem]:
    given, declared = measure.given, measure.declared
    for written in given:
        if written not in declared.keys:
            yield measure.problem(written, "unknown-function", f"'{declared.name}' takes no '{written}'")
    for name, key in declared.keys.items():
        if key.required and name not in given:
            yield measure.problem("", "unknown-function", f"'{declared.name}' needs '{name}'")
        if key.names == "flag" and name in given and str(given[name]) not in known:
            yield measure.problem(name, "unknown-finding", f"no finding or conclusion '{given[name]}'")
    for table in declared.of_kind(Table):
        if table.key in given and str(given[table.key]) not in tables:
            yield measure.problem(table.key, "file-missing", f"no table {shown_value(given[table.key])} is listed")


def ring(measures: Mapping[str, MeasureShape]) -> list[str]:
    """Return the measures that depend on themselves, or on one that does."""
    inputs = {name: {i for i in inputs_of(shape) if i in measures} for name, shape in measures.items()}
    used_by: dict[str, list[str]] = {name: [] for name in measures}
    for name, needed in inputs.items():
        for one in needed:
            used_by[one].append(name)
    waits_for = {name: len(needed) for name, needed in inputs.items()}
    free = [name for name, number in waits_for.items() if not number]
    while free:
        for name in used_by[free.pop()]:
            waits_for[name] -= 1
            if not waits_for[name]:
                free.append(name)
    return [name for name, number in waits_for.items() if number]


def check_measure_inputs(
    measures: Mapping[str, MeasureShape],
    document: Document,
    findings: Mapping[str, FindingShape],
    settings: Mapping[str, SettingShape],
    sources: Mapping[str, SourceShape],
    tables: Mapping[str, LoadedTable],
) -> Iterator[PackProblem]:
    """Yield what is wrong with what stands under the keys of measures."""
    for name, shape in measures.items():
        yield from check_sources(document, (name, "source"), listed(shape.source), sources)
        if shape.term_only and not (shape.term_only in findings and findings[shape.term_only].number):
            message = f"no finding '{shape.term_only}' that is a number"
            yield document.problem((name, "term_only"), "unknown-finding", message)
        if shape.compute not in REGISTRY:
            continue
        measure = _Measure(name, shape, REGISTRY[shape.compute], document)
        for key in measure.declared.keys.values():
            if key.names and key.name in measure.given:
                yield from _subject(measure, key, findings, measures)
        yield from _units(measure, findings, measures, tables)
        yield from _table(measure, tables)
        yield from _words(measure)
        yield from _lines(measure, settings, sources, tables)


def _subject(
    measure: _Measure, key: Key, findings: Mapping[str, FindingShape], measures: Mapping[str, MeasureShape]
) -> Iterator[PackProblem]:
    """Yield a key that names what the function cannot be given, or a view that there is not."""
    written = str(measure.given[key.name])
    subject = written.split(".")[0]
    if subject in findings:
        yield from _view(measure, key, written, findings[subject])
        if key.names == "flag" and not {"yes", "no"} <= {*(findings[subject].values or ())}:
            yield measure.problem(key.name, "unknown-value", f"'{subject}' is not answered by yes or no")
        if key.names not in ("flag", "time") and findings[subject].number is None:
            yield measure.problem(key.name, "unknown-value", f"'{subject}' is no number")
    elif subject in measures and key.names == "recordings":
        message = f"'{measure.declared.name}' compares recordings; the measure '{subject}' has none"
        yield measure.problem(key.name, "unknown-view", message)
    elif subject not in measures and key.names != "flag":
        named = repr(subject) if isinstance(measure.given[key.name], str) else shown_value(measure.given[key.name])
        yield measure.problem(key.name, "unknown-finding", f"no finding or measure {named}")
    by = {one.key: one.computed_by for one in measure.declared.of_kind(Of)}.get(key.name)
    computed = measures[subject].compute if subject in measures else ""
    if by and computed != by and subject in {*findings, *measures}:
        yield measure.problem(key.name, "unknown-function", f"'{key.name}' is a measure that computes a {by}")


def _view(measure: _Measure, key: Key, written: str, finding: FindingShape) -> Iterator[PackProblem]:
    subject, *words = written.split(".")
    readings, sides = finding.readings, finding.sides or ()
    attempts = [str(n + 1) for n in range(readings.at_most)] if readings else []
    known = ["earlier", *sides, *attempts, *(readings.parts if readings else ())] if key.names in VIEWED else []
    for word in words:
        if word not in known:
            yield measure.problem(key.name, "unknown-view", f"'{subject}' has no view '.{word}' for a measure")
    if key.names not in VIEWED and (readings or sides):
        message = f"'{measure.declared.name}' looks at '{subject}' as a whole, and it has parts or sides"
        yield measure.problem(key.name, "unknown-view", message)
    elif readings and not (len(words) == 2 and words[0] in attempts and words[1] in readings.parts):
        example = f"{subject}.1.{readings.parts[0]}"
        yield measure.problem(key.name, "unknown-view", f"'{subject}' is read in parts: write '{example}'")
    elif sides and not {*words} & {*sides}:
        yield measure.problem(key.name, "unknown-view", f"'{subject}' has sides: write '{subject}.{sides[0]}'")


def _units(
    measure: _Measure,
    findings: Mapping[str, FindingShape],
    measures: Mapping[str, MeasureShape],
    tables: Mapping[str, LoadedTable],
) -> Iterator[PackProblem]:
    """Yield values that can never be turned into the unit that the function takes them in."""
    units = {key: _unit(str(written).split(".")[0], findings, measures) for key, written in measure.given.items()}
    of_tables = [(tables.get(str(measure.given.get(one.key))), one.kind) for one in measure.declared.of_kind(Table)]
    of_table = next((table.unit for table, kind in of_tables if isinstance(table, kind)), None)
    shared = {SAME: units.get(measure.declared.as_it_is), OF_TABLE: of_table}
    wanted = [(one.key, shared.get(one.unit, one.unit)) for one in measure.declared.of_kind(Of)]
    for pair in measure.declared.of_kind(Pair):
        wanted += [(pair.of, pair.unit), ("from", pair.unit)]
    for key, to in wanted:
        unit = units.get(key)
        try:
            if unit and to and to != AS_IT_IS:
                convert(Fraction(1), unit, to)
        except UnitMismatchError as error:
            yield measure.problem(key, "unknown-unit", str(error))


def _unit(subject: str, findings: Mapping[str, FindingShape], measures: Mapping[str, MeasureShape]) -> str | None:
    """Return the unit of a number, None where only a table knows it."""
    if subject in findings:
        number = findings[subject].number
        return number.unit if number else None
    declared = REGISTRY.get(measures[subject].compute) if subject in measures else None
    return None if declared is None or declared.unit in (SAME, OF_TABLE) else declared.unit


def _table(measure: _Measure, tables: Mapping[str, LoadedTable]) -> Iterator[PackProblem]:
    chosen = tuple(str(measure.given.get(word.key)) for word in measure.declared.of_kind(Word) if word.of == "column")
    for declared in measure.declared.of_kind(Table):
        written = measure.given.get(declared.key)
        table = tables.get(str(written))
        if table is not None and not isinstance(table, declared.kind):
            message = f"'{measure.declared.name}' cannot read table '{written}', which is of another kind"
            yield measure.problem(declared.key, "unknown-function", message)
        elif table is not None:
            for column in (*declared.columns, *chosen):
                if column not in getattr(table, "columns", ()):
                    message = f"table '{written}' has no column '{column}': {', '.join(table.columns)}"
                    yield measure.problem("column", "unknown-function", message)


def _words(measure: _Measure) -> Iterator[PackProblem]:
    """Yield a word that is none of those to choose from, and an amount of time that is none."""
    given = measure.given
    amounts = [one.key for one in measure.declared.of_kind(AmountOfTime)]
    for pair in measure.declared.of_kind(Pair):
        amounts.append("at_least_apart")
        since = given.get("since")
        if pair.since and since is not None and since not in pair.since:
            yield measure.problem("since", "unknown-function", f"'since' is one of {', '.join(pair.since)}")
        elif since is not None and (since == BIRTH) != ("from" in given):
            message = f"'from' belongs to 'since: {BIRTH}', and is needed there"
            yield measure.problem("since", "unknown-function", message)
    for key in amounts:
        try:
            seconds(str(given.get(key, "0 h")))
        except UnitMismatchError as error:
            yield measure.problem(key, "unknown-unit", str(error))


def _lines(
    measure: _Measure,
    settings: Mapping[str, SettingShape],
    sources: Mapping[str, SourceShape],
    tables: Mapping[str, LoadedTable],
) -> Iterator[PackProblem]:
    """Yield a set that is none, and sets of another issuer than their setting says.

    A choice's own source says whose rules may use its lines; a table of another issuer must not slip in there.
    """
    for lines in measure.declared.of_kind(Lines):
        chosen = str(measure.given.get(lines.key))
        if lines.key in measure.given and chosen not in settings and not isinstance(tables.get(chosen), lines.kind):
            message = f"'{chosen}' is neither a setting nor a set of treatment lines"
            yield measure.problem(lines.key, "unknown-setting", message)
        for slug, choice in settings[chosen].choices.items() if chosen in settings else ():
            table = tables.get(slug)
            issuers = {sources[s].issuer for s in listed(choice.source) if s in sources}
            if isinstance(table, lines.kind) and table.issuer not in issuers:
                message = f"the lines '{slug}' are of issuer '{table.issuer}', the source of that choice is not"
                yield measure.problem(lines.key, "threshold-set", message)
