"""Whether the names that a pack uses exist: sources, targets, priorities, windows, measures, settings."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from .binding import BINDINGS
from .compile import Written
from .errors import PackProblem
from .measures import REGISTRY
from .model import (
    ChoiceShape,
    Consequence,
    FindingShape,
    FirstOf,
    MeasureShape,
    RuleShape,
    SettingShape,
    SourceShape,
    TargetShape,
    WindowShape,
)
from .quantities import seconds
from .rule_checks import VERBS
from .yaml_nodes import Document, Path

ANCHORS = ("visit", "next_visit", "birth", "discharge", "term")


def listed(value: str | list[str] | None) -> list[str]:
    """Return one or several as a list."""
    if value is None:
        return []
    return [value] if isinstance(value, str) else list(value)


def check_sources(
    document: Document, path: Path, names: Iterable[str], sources: Mapping[str, SourceShape]
) -> Iterator[PackProblem]:
    """Yield a problem for each source that is not in sources.yaml."""
    for name in names:
        if name not in sources:
            yield document.problem(path, "unknown-source", f"sources.yaml has no source '{name}'")


def check_rule(
    rule: Written,
    sources: Mapping[str, SourceShape],
    targets: Mapping[str, TargetShape],
    findings: Mapping[str, FindingShape],
) -> Iterator[PackProblem]:
    """Yield the names of one rule that do not exist, and consequences that do not hang together."""
    shape, document, path = rule.shape, rule.document, rule.path
    yield from check_sources(document, (*path, "source"), listed(shape.source), sources)
    if not listed(shape.source) or not shape.because.strip():
        yield document.problem(path, "shape", "a rule needs a source and a reason in one sentence")
    if not shape.id.startswith(rule.document.file.rsplit("/", 1)[-1].removesuffix(".yaml") + "."):
        yield document.problem((*path, "id"), "id-file", f"the id '{shape.id}' does not begin with the file's name")
    if shape.due is not None:
        yield from _check_due(rule, findings)
    for k, consequence in enumerate(shape.then):
        yield from _check_consequence(rule, consequence, (*path, "then", k), sources, targets, findings)


def _check_due(rule: Written, findings: Mapping[str, FindingShape]) -> Iterator[PackProblem]:
    shape: RuleShape = rule.shape
    if shape.due not in findings:
        yield rule.document.problem((*rule.path, "due"), "unknown-finding", f"no finding '{shape.due}' is defined")
    if shape.window is None:
        yield rule.document.problem(rule.path, "window", "a 'due' rule needs a window: from when and until when")
    if shape.instead_of or any(c.conclude for c in shape.then):
        yield rule.document.problem(rule.path, "replacement", "a 'due' rule neither concludes nor replaces a rule")


def _check_consequence(
    rule: Written,
    consequence: Consequence,
    path: Path,
    sources: Mapping[str, SourceShape],
    targets: Mapping[str, TargetShape],
    findings: Mapping[str, FindingShape],
) -> Iterator[PackProblem]:
    document = rule.document
    verbs = [verb for verb in (*VERBS, "conclude") if getattr(consequence, verb) is not None]
    if len(verbs) != 1:
        yield document.problem(path, "shape", f"a consequence has exactly one verb; found {verbs or 'none'}")
        return
    verb = verbs[0]
    yield from check_sources(document, (*path, "source"), listed(consequence.source), sources)
    if verb == "conclude":
        return
    name = getattr(consequence, verb)
    if name not in targets:
        yield document.problem((*path, verb), "unknown-target", f"targets/ has no target '{name}'")
    elif targets[name].kind != verb:
        yield document.problem(
            (*path, verb), "unknown-target", f"target '{name}' is for '{targets[name].kind}', not '{verb}'"
        )
    if verb in ("refer", "order", "recheck") and consequence.priority is None:
        yield document.problem(path, "unknown-priority", f"'{verb}' needs a priority")
    if consequence.within and consequence.window:
        yield document.problem(path, "window", "give 'within' or 'window', not both")
    for window in windows_of(consequence.window):
        yield from _check_window(document, path, window, findings)


def windows_of(window: WindowShape | FirstOf | None) -> tuple[WindowShape, ...]:
    """Return the single windows that a written window consists of."""
    if window is None:
        return ()
    return tuple(window.first_of) if isinstance(window, FirstOf) else (window,)


def _check_window(
    document: Document, path: Path, window: WindowShape, findings: Mapping[str, FindingShape]
) -> Iterator[PackProblem]:
    anchor = window.after
    if anchor not in ANCHORS and not (anchor.endswith(".time") and anchor.removesuffix(".time") in findings):
        yield document.problem(
            (*path, "window"), "window", f"'{anchor}' is no anchor: {', '.join(ANCHORS)} or <finding>.time"
        )
    if window.start is None and window.until is None:
        yield document.problem((*path, "window"), "window", "a window needs 'from' or 'until'")
    if window.start and window.until and rough(window.start) > rough(window.until):
        yield document.problem(
            (*path, "window"), "window", f"the window ends ({window.until}) before it begins ({window.start})"
        )


def rough(text: str) -> int:
    """Return an amount in seconds for comparison alone; a calendar month counts 28 days."""
    return int(text.split()[0]) * 28 * 86400 if text.endswith(" mo") else seconds(text)


def check_findings(findings: Mapping[str, FindingShape], documents: Mapping[str, Document]) -> Iterator[PackProblem]:
    """Yield findings that are neither a category nor a number, or whose values do not hang together."""
    for name, shape in findings.items():
        document, path = documents[name], ("findings", name)
        if (shape.values is None) == (shape.number is None):
            yield document.problem(path, "shape", f"'{name}' needs either 'values' or 'number'")
            continue
        named: list[tuple[str, str]] = [("expected", v) for v in listed(shape.expected)]
        named += [("coarse", v) for values in shape.coarse.values() for v in values]
        named += [(key, v) for key in ("means", "variant") for v in getattr(shape, key)]
        allowed = {*(shape.values or ()), *shape.coarse, "abnormal"}
        for key, value in named:
            if shape.values is not None and value not in allowed:
                yield document.problem((*path, key), "unknown-value", f"'{value}' is no value of '{name}'")
        if shape.number and shape.number.plausible[0] >= shape.number.plausible[1]:
            yield document.problem((*path, "number"), "shape", "'plausible' runs from a lower to a higher number")


def check_measures(
    measures: Mapping[str, MeasureShape], document: Document, known: Collection[str], tables: Iterable[str]
) -> Iterator[PackProblem]:
    """Yield measures whose function or inputs do not exist, and rings of measures."""
    names = set(tables)
    for name, shape in measures.items():
        if name in known:
            yield document.problem((name,), "duplicate-id", f"'{name}' is a finding already")
        binding = BINDINGS.get(shape.compute)
        if binding is None or shape.compute not in REGISTRY:
            yield document.problem(
                (name, "compute"), "unknown-function", f"the engine has no measure '{shape.compute}'"
            )
            continue
        given = dict(shape.model_extra or {})
        for key in given.keys() - {*binding.required, *binding.optional}:
            yield document.problem((name, str(key)), "unknown-function", f"'{shape.compute}' takes no '{key}'")
        for key in binding.required - given.keys():
            yield document.problem((name,), "unknown-function", f"'{shape.compute}' needs '{key}'")
        for key in given.keys() & binding.of_findings:
            subject = str(given[key]).split(".")[0]
            if subject not in known and subject not in measures:
                yield document.problem((name, str(key)), "unknown-finding", f"no finding or measure '{subject}'")
        if "table" in given and given["table"] not in names:
            yield document.problem((name, "table"), "file-missing", f"no table '{given['table']}' is listed")
    for name in ring(measures):
        yield document.problem((name,), "cycle", f"the measure '{name}' depends on itself")


def inputs_of(shape: MeasureShape) -> tuple[str, ...]:
    """Return the findings and measures that a measure is computed from."""
    binding = BINDINGS.get(shape.compute)
    given = dict(shape.model_extra or {})
    return tuple(str(v).split(".")[0] for key, v in given.items() if binding and key in binding.of_findings)


def ring(measures: Mapping[str, MeasureShape]) -> list[str]:
    """Return the measures that depend on themselves."""
    left = dict(measures)
    while True:
        free = [name for name, shape in left.items() if not any(i in left for i in inputs_of(shape))]
        if not free:
            return list(left)
        for name in free:
            del left[name]


def check_settings(
    settings: Mapping[str, SettingShape], document: Document, sources: Mapping[str, SourceShape]
) -> Iterator[PackProblem]:
    """Yield settings whose default is no choice, and sources that do not exist."""
    for name, shape in settings.items():
        if shape.default not in shape.choices:
            yield document.problem((name, "default"), "unknown-setting", f"'{shape.default}' is no choice of '{name}'")
        yield from check_sources(document, (name, "source"), listed(shape.source), sources)
        for slug, choice in shape.choices.items():
            _: ChoiceShape = choice
            yield from check_sources(document, (name, "choices", slug), listed(choice.source), sources)


_CODE_SYSTEMS = re.compile("loinc|snomed|icd10cm|cvx")


def check_codes(name: str, codes: Mapping[str, Any], document: Document, path: Path) -> Iterator[PackProblem]:
    """Yield code systems that the pack may not use."""
    for system in codes:
        if not _CODE_SYSTEMS.fullmatch(system):
            yield document.problem(
                path, "shape", f"'{name}': code system '{system}' is not loinc, snomed, icd10cm or cvx"
            )
