"""Whether rules name what exists, and whether their consequences and windows hang together."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.errors import PackProblem, near
from layette.engine.pack.checks.deadlines import check_deadline
from layette.engine.pack.checks.sources import check_sources
from layette.engine.pack.written.conditions import keys_in
from layette.engine.pack.written.rule_shapes import Consequence, WindowShape, rough, windows_of
from layette.engine.pack.written.shapes import listed
from layette.engine.pack.written.subjects import SEX
from layette.engine.pack.written.written import Written
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document, Path
from layette.engine.terms import ANCHORS, ASKED

PRESSING = (*ASKED, "judge")
"""The verbs that need a priority."""

BESIDE_AN_ACT = ("guide", "reassure", "avoid")
"""What is told or left undone: no finding that is merely not on record leads to it."""


def check_rule(rule: Written, pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield the names of one rule that do not exist, and consequences that do not hang together."""
    shape, document, path = rule.shape, rule.document, rule.path
    yield from check_sources(document, (*path, "source"), shape.sources, pack.sources)
    if not shape.sources or not shape.because.strip():
        yield document.problem(path, "shape", "a rule needs a source and a reason in one sentence")
    if not shape.id.startswith(document.file.rsplit("/", 1)[-1].rsplit(".", 1)[0] + "."):
        yield document.problem((*path, "id"), "id-file", f"the id '{shape.id}' does not begin with the file's name")
    if shape.due is not None:
        yield from _check_due(rule, pack)
    elif shape.window or shape.where:
        yield document.problem(path, "window", "'window' and 'where' on a rule belong to 'due'")
    for window in windows_of(shape.window):
        yield from _check_window(document, path, window, pack)
    for k, consequence in enumerate(shape.then):
        yield from _check_consequence(rule, consequence, (*path, "then", k), pack)
        yield from check_deadline(rule, consequence, (*path, "then", k))


def _check_due(rule: Written, pack: WrittenPack) -> Iterator[PackProblem]:
    shape, document, path = rule.shape, rule.document, rule.path
    for name in listed(shape.due):
        if name not in pack.findings:
            yield document.problem((*path, "due"), "unknown-finding", f"no finding '{name}' is defined")
    if shape.window is None:
        yield document.problem(path, "window", "a 'due' rule needs a window: from when and until when")
    for k, consequence in enumerate(shape.then):
        if consequence.within or consequence.window:
            message = "the window of a 'due' rule stands on the rule itself"
            yield document.problem((*path, "then", k), "window", message)
        if consequence.verb in BESIDE_AN_ACT:
            message = f"a 'due' rule leads to what is done: give '{consequence.verb}' a rule of its own"
            yield document.problem((*path, "then", k, str(consequence.verb)), "shape", message)
    if shape.instead_of or any(consequence.conclude for consequence in shape.then):
        yield document.problem(path, "replacement", "a 'due' rule neither concludes nor replaces a rule")


def _check_consequence(rule: Written, consequence: Consequence, path: Path, pack: WrittenPack) -> Iterator[PackProblem]:
    document, verbs = rule.document, consequence.verbs
    if len(verbs) != 1:
        message = f"a consequence has exactly one verb; found {list(verbs) or 'none'}"
        yield document.problem(path, "shape", message)
        return
    yield from check_sources(document, (*path, "source"), listed(consequence.source), pack.sources)
    if consequence.verb is None:
        return
    yield from _check_target(document, consequence, path, pack)
    if consequence.verb in PRESSING and consequence.priority is None:
        yield document.problem(path, "unknown-priority", f"'{consequence.verb}' needs a priority")
    if consequence.judge and (consequence.within or consequence.window or rule.shape.due is not None):
        message = "a value is judged before they leave: 'judge' has no window, and stands in no 'due' rule"
        yield document.problem((*path, "judge"), "window", message)
    if consequence.within and consequence.window:
        yield document.problem(path, "window", "give 'within' or 'window', not both")
    for window in windows_of(consequence.window):
        yield from _check_window(document, path, window, pack)


def _check_target(document: Document, consequence: Consequence, path: Path, pack: WrittenPack) -> Iterator[PackProblem]:
    verb, name = str(consequence.verb), consequence.target
    if name not in pack.targets:
        yield document.problem(
            (*path, verb), "unknown-target", f"targets/ has no target '{name}'{near(name, pack.targets)}"
        )
    elif verb == "judge":
        if pack.targets[name].kind not in ASKED:
            kind = pack.targets[name].kind
            message = f"what a value could bring is asked for ({', '.join(ASKED)}); '{name}' is for '{kind}'"
            yield document.problem((*path, verb), "unknown-target", message)
    elif pack.targets[name].kind != verb:
        message = f"target '{name}' is for '{pack.targets[name].kind}', not '{verb}'"
        yield document.problem((*path, verb), "unknown-target", message)


def _check_window(document: Document, path: Path, window: WindowShape, pack: WrittenPack) -> Iterator[PackProblem]:
    place, anchor = (*path, "window"), window.after
    finding = anchor.removesuffix(".time").removesuffix(".earlier")
    if anchor not in ANCHORS and not (anchor.endswith(".time") and finding in pack.findings):
        message = f"'{anchor}' is no anchor: {', '.join(ANCHORS)} or <finding>.time"
        yield document.problem(place, "window", message)
    if window.start is None and window.until is None:
        yield document.problem(place, "window", "a window needs 'from' or 'until'")
    if window.start and window.until and rough(window.start) > rough(window.until):
        message = f"the window ends ({window.until}) before it begins ({window.start})"
        yield document.problem(place, "window", message)


def check_ids(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield rules whose id another rule carries already."""
    first: dict[str, Written] = {}
    for rule in pack.rules:
        earlier = first.setdefault(rule.shape.id, rule)
        if earlier is not rule:
            message = f"'{rule.shape.id}' stands already at {earlier.place}"
            yield rule.document.problem((*rule.path, "id"), "duplicate-id", message)


def check_conclusions(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield conclusions that carry the name of something else, and those that say who a rule is for."""
    taken = {*pack.findings, *pack.measures, SEX}
    for rule in pack.rules:
        for k, consequence in enumerate(rule.shape.then):
            if consequence.conclude in taken:
                message = f"'{consequence.conclude}' is a finding or measure already"
                yield rule.document.problem((*rule.path, "then", k, "conclude"), "duplicate-id", message)
        subjects = {key.split(".")[0] for key in keys_in(rule.shape.applies_when)}
        for name in sorted(pack.conclusions & subjects):
            message = f"'{name}' is a conclusion; who a rule is for is said by findings and settings"
            yield rule.document.problem((*rule.path, "applies_when"), "shape", message)
