"""Whether the inputs of a pack's measures hang together: views that exist, tables of the right kind, known words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from layette.engine.errors import PackProblem
from layette.engine.exact.units import UnitMismatchError, seconds
from layette.engine.measures.birth_size import PercentileTable
from layette.engine.measures.growth import LmsTable
from layette.engine.measures.steps import StepTable
from layette.engine.measures.thresholds import ThresholdSet
from layette.engine.pack.checks.sources import check_sources
from layette.engine.pack.written.shapes import FindingShape, MeasureShape, SettingShape, SourceShape, listed
from layette.engine.pack.written.yaml_nodes import Document, Path
from layette.engine.tables.load import Table

TABLE_OF: Mapping[str, type[Any]] = {
    "zscore": LmsTable,
    "centile": LmsTable,
    "size_for_gestation": PercentileTable,
    "expected_count": StepTable,
    "feed_volume_per_feed": StepTable,
    "feed_volume_per_day": StepTable,
}
COLUMNS_OF: Mapping[str, tuple[str, ...]] = {
    "feed_volume_per_feed": ("per_feed",),
    "feed_volume_per_day": ("per_kg", "most"),
}
SINCE = ("earlier", "nadir", "birth")


def check_measure_inputs(
    measures: Mapping[str, MeasureShape],
    document: Document,
    findings: Mapping[str, FindingShape],
    settings: Mapping[str, SettingShape],
    sources: Mapping[str, SourceShape],
    tables: Mapping[str, Table],
) -> Iterator[PackProblem]:
    """Yield what is wrong with the inputs of measures, beside names that do not exist."""
    for name, shape in measures.items():
        yield from check_sources(document, (name, "source"), listed(shape.source), sources)
        given = dict(shape.model_extra or {})
        for key, value in given.items():
            if str(value).split(".")[0] in findings:
                yield from _view(str(value), findings, document, (name, key))
        yield from _table(shape, given, document, name, tables)
        yield from _words(shape, given, document, name, settings, tables, measures)
        if shape.compute == "threshold":
            yield from _issuers(settings.get(str(given.get("set"))), sources, tables, document, name)


def _view(written: str, findings: Mapping[str, FindingShape], document: Document, path: Path) -> Iterator[PackProblem]:
    subject, *words = written.split(".")
    readings = findings[subject].readings
    attempts = [str(n + 1) for n in range(readings.at_most)] if readings else []
    known = ["earlier", *(findings[subject].sides or ()), *attempts, *(readings.parts if readings else ())]
    for word in words:
        if word not in known:
            yield document.problem(path, "unknown-view", f"'{subject}' has no view '.{word}' for a measure")
    if readings and not (len(words) == 2 and words[0] in attempts and words[1] in readings.parts):
        example = f"{subject}.1.{readings.parts[0]}"
        yield document.problem(path, "unknown-view", f"'{subject}' is read in parts: write '{example}'")


def _table(
    shape: MeasureShape, given: Mapping[str, Any], document: Document, name: str, tables: Mapping[str, Table]
) -> Iterator[PackProblem]:
    table, wanted = tables.get(str(given.get("table"))), TABLE_OF.get(shape.compute)
    if table is None or wanted is None:
        return
    if not isinstance(table, wanted):
        message = f"'{shape.compute}' cannot read table '{given['table']}', which is of another kind"
        yield document.problem((name, "table"), "unknown-function", message)
    elif isinstance(table, StepTable):
        for column in COLUMNS_OF.get(shape.compute, (str(given.get("column")),)):
            if column not in table.columns:
                message = f"table '{given['table']}' has no column '{column}': {', '.join(table.columns)}"
                yield document.problem((name, "column"), "unknown-function", message)


def _issuers(
    setting: SettingShape | None,
    sources: Mapping[str, SourceShape],
    tables: Mapping[str, Table],
    document: Document,
    name: str,
) -> Iterator[PackProblem]:
    """A choice's own source says whose rules may use its lines; a table of another issuer must not slip in there."""
    for slug, choice in setting.choices.items() if setting else ():
        table = tables.get(slug)
        issuers = {sources[s].issuer for s in listed(choice.source) if s in sources}
        if isinstance(table, ThresholdSet) and table.issuer not in issuers:
            message = f"the lines '{slug}' are of issuer '{table.issuer}', the source of that choice is not"
            yield document.problem((name, "set"), "threshold-set", message)


def _words(
    shape: MeasureShape,
    given: Mapping[str, Any],
    document: Document,
    name: str,
    settings: Mapping[str, SettingShape],
    tables: Mapping[str, Table],
    measures: Mapping[str, MeasureShape],
) -> Iterator[PackProblem]:
    if shape.compute == "gain_per_day" and given.get("since", SINCE[0]) not in SINCE:
        yield document.problem((name, "since"), "unknown-function", f"'since' is one of {', '.join(SINCE)}")
    if "at_least_apart" in given:
        try:
            seconds(str(given["at_least_apart"]))
        except UnitMismatchError as error:
            yield document.problem((name, "at_least_apart"), "unknown-unit", str(error))
    if shape.compute == "threshold" and "set" in given:
        chosen = str(given["set"])
        if chosen not in settings and not isinstance(tables.get(chosen), ThresholdSet):
            message = f"'{chosen}' is neither a setting nor a set of treatment lines"
            yield document.problem((name, "set"), "unknown-setting", message)
    line = measures.get(str(given.get("line")))
    if shape.compute == "margin" and line is not None and line.compute != "threshold":
        yield document.problem((name, "line"), "unknown-function", "'line' is a measure that computes a threshold")
