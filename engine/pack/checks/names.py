"""Whether the names that a pack uses exist: sources, targets, priorities, windows, measures, settings."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from fractions import Fraction
from typing import Any

from layette.engine.errors import PackProblem
from layette.engine.exact.units import UnitMismatchError, convert
from layette.engine.pack.written.rule_shapes import Consequence, RuleShape, TargetShape, WindowShape, rough, windows_of
from layette.engine.pack.written.shapes import (
    ChoiceShape,
    FindingsFile,
    FindingShape,
    MeasureShape,
    NumberShape,
    PackFile,
    SettingShape,
    SourceShape,
    listed,
)
from layette.engine.pack.written.subjects import SEX, inputs_of
from layette.engine.pack.written.written import Written
from layette.engine.pack.written.yaml_nodes import Document, Path
from layette.engine.terms import ANCHORS, CODE_SYSTEMS, VERBS


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
    if not shape.id.startswith(rule.document.file.rsplit("/", 1)[-1].rsplit(".", 1)[0] + "."):
        yield document.problem((*path, "id"), "id-file", f"the id '{shape.id}' does not begin with the file's name")
    if shape.due is not None:
        yield from _check_due(rule, findings)
    elif shape.window or shape.where:
        yield document.problem(path, "window", "'window' and 'where' on a rule belong to 'due'")
    for window in windows_of(shape.window):
        yield from _check_window(document, path, window, findings)
    for k, consequence in enumerate(shape.then):
        yield from _check_consequence(rule, consequence, (*path, "then", k), sources, targets, findings)


def _check_due(rule: Written, findings: Mapping[str, FindingShape]) -> Iterator[PackProblem]:
    shape: RuleShape = rule.shape
    for name in listed(shape.due):
        if name not in findings:
            yield rule.document.problem((*rule.path, "due"), "unknown-finding", f"no finding '{name}' is defined")
    if shape.window is None:
        yield rule.document.problem(rule.path, "window", "a 'due' rule needs a window: from when and until when")
    for k, consequence in enumerate(shape.then):
        if consequence.within or consequence.window:
            place = (*rule.path, "then", k)
            yield rule.document.problem(place, "window", "the window of a 'due' rule stands on the rule itself")
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


def check_conclusions(rule: Written, taken: Collection[str], conclusions: Collection[str]) -> Iterator[PackProblem]:
    """Yield conclusions that carry the name of something else, and those that say who a rule is for."""
    for k, consequence in enumerate(rule.shape.then):
        if consequence.conclude in taken:
            message = f"'{consequence.conclude}' is a finding or measure already"
            yield rule.document.problem((*rule.path, "then", k, "conclude"), "duplicate-id", message)
    for name in sorted({n.split(".")[0] for n in _tested(rule.shape.applies_when)} & {*conclusions}):
        message = f"'{name}' is a conclusion; who a rule is for is said by findings and settings"
        yield rule.document.problem((*rule.path, "applies_when"), "shape", message)


def _tested(written: Any) -> Iterator[str]:
    """Yield the test keys of a condition."""
    for condition in written if isinstance(written, list) else [written]:
        for key, value in condition.items() if isinstance(condition, Mapping) else ():
            if key in ("all", "any", "none"):
                yield from _tested(value)
            else:
                yield str(key)


def _check_window(
    document: Document, path: Path, window: WindowShape, findings: Mapping[str, FindingShape]
) -> Iterator[PackProblem]:
    anchor = window.after
    finding = anchor.removesuffix(".time").removesuffix(".earlier")
    if anchor not in ANCHORS and not (anchor.endswith(".time") and finding in findings):
        yield document.problem(
            (*path, "window"), "window", f"'{anchor}' is no anchor: {', '.join(ANCHORS)} or <finding>.time"
        )
    if window.start is None and window.until is None:
        yield document.problem((*path, "window"), "window", "a window needs 'from' or 'until'")
    if window.start and window.until and rough(window.start) > rough(window.until):
        yield document.problem(
            (*path, "window"), "window", f"the window ends ({window.until}) before it begins ({window.start})"
        )


def check_findings(findings: Mapping[str, FindingShape], documents: Mapping[str, Document]) -> Iterator[PackProblem]:
    """Yield findings that are neither a category nor a number, or whose values do not hang together."""
    for name, shape in findings.items():
        document, path = documents[name], ("findings", name)
        if (shape.values is None) == (shape.number is None):
            yield document.problem(path, "shape", f"'{name}' needs either 'values' or 'number'")
            continue
        yield from _check_codes(shape, document, path)
        if shape.number:
            yield from _check_number(name, shape.number, document, (*path, "number"))
        for value in {v for v in shape.values or () if (shape.values or []).count(v) > 1}:
            yield document.problem((*path, "values"), "duplicate-id", f"the value '{value}' stands there twice")
        named: list[tuple[str, str]] = [("expected", v) for v in listed(shape.expected)]
        named += [("coarse", v) for values in shape.coarse.values() for v in values]
        named += [(key, v) for key in ("means", "variant") for v in getattr(shape, key)]
        allowed = {*(shape.values or ()), *shape.coarse, "abnormal"}
        for key, value in named:
            if shape.values is not None and value not in allowed:
                yield document.problem((*path, key), "unknown-value", f"'{value}' is no value of '{name}'")


def check_guards(
    findings: Mapping[str, FindingShape], measures: Mapping[str, MeasureShape], documents: Mapping[str, Document]
) -> Iterator[PackProblem]:
    """Yield guards of findings that look at anything but settings, sex, age, and findings without a guard."""
    ages = [name for name, shape in measures.items() if not inputs_of(shape)]
    for name, shape in findings.items():
        for tested in _tested(shape.applies_when):
            subject = tested.split(".")[0]
            guarded = subject in findings and findings[subject].applies_when is not None
            if guarded or (subject not in findings and subject not in ("setting", SEX, *ages)):
                path = ("findings", name, "applies_when")
                words = "a setting, sex_at_birth, the age, or a finding without a guard"
                yield documents[name].problem(path, "cycle", f"'{tested}' cannot say who '{name}' is for; use {words}")


def _check_number(name: str, number: NumberShape, document: Document, path: Path) -> Iterator[PackProblem]:
    if number.plausible[0] >= number.plausible[1]:
        yield document.problem(path, "shape", "'plausible' runs from a lower to a higher number")
    for unit in number.accepts:
        try:
            convert(Fraction(1), unit, number.unit)
        except UnitMismatchError as error:
            yield document.problem((*path, "accepts"), "unknown-unit", f"'{name}': {error}")


def _check_codes(shape: FindingShape, document: Document, path: Path) -> Iterator[PackProblem]:
    yield from check_codes(shape.codes, document, (*path, "codes"))
    for key in ("part_codes", "side_codes", "means"):
        for word, codes in getattr(shape, key).items():
            yield from check_codes(codes, document, (*path, key, word))


def check_pack(
    pack: PackFile,
    document: Document,
    findings: Mapping[str, FindingShape],
    targets: Mapping[str, TargetShape],
    documents: Mapping[str, Document],
) -> Iterator[PackProblem]:
    """Yield anchors and targets of `pack.yaml` and `targets/` that name what does not exist."""
    for anchor, finding in pack.anchors.items():
        if finding not in findings or findings[finding].number is None:
            yield document.problem(("anchors", anchor), "unknown-finding", f"no number '{finding}' is defined")
    for name, target in targets.items():
        place = documents[name]
        yield from check_codes(target.codes, place, (name, "codes"))
        for key in ("conflicts_with", "recheck_of"):
            for other in getattr(target, key):
                if other not in targets and other not in findings:
                    yield place.problem((name, key), "unknown-target", f"targets/ has no target '{other}'")


def check_normals(
    areas: Iterable[FindingsFile], findings: Mapping[str, FindingShape], documents: Mapping[str, Document]
) -> Iterator[PackProblem]:
    """Yield normals of a system that spread over a finding, or a value, that does not exist."""
    for area in areas:
        document = next((documents[name] for name in area.findings if name in documents), None)
        for name, shape in area.normal.items() if document else ():
            path = ("normal", name)
            assert document is not None
            if name in findings:
                yield document.problem(path, "duplicate-id", f"'{name}' is a finding already")
            for finding, value in shape.spreads.items():
                here = (*path, "spreads", finding)
                if finding not in findings:
                    yield document.problem(here, "unknown-finding", f"no finding '{finding}' is defined")
                elif value not in listed(findings[finding].expected):
                    message = f"'{value}' is not what is expected of '{finding}', so it is no normal"
                    yield document.problem(here, "unknown-value", message)


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


def check_codes(codes: Mapping[str, Any], document: Document, path: Path) -> Iterator[PackProblem]:
    """Yield code systems that the pack may not use."""
    for system in codes:
        if system not in CODE_SYSTEMS:
            known = ", ".join(CODE_SYSTEMS)
            yield document.problem((*path, system), "shape", f"'{system}' is no code system of a pack: {known}")
