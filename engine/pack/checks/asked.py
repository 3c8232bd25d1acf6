"""Whether what a pack says of how findings are asked hangs together: conditions, sources, labels, systems charted."""

from __future__ import annotations

from collections.abc import Iterator

from layette.engine.errors import PackProblem
from layette.engine.pack.checks.sources import check_sources
from layette.engine.pack.grammar.conditions import Grammar
from layette.engine.pack.written.shape import AskAfter
from layette.engine.pack.written.shapes import FindingShape, NormalShape, listed
from layette.engine.pack.written.subjects import Subjects
from layette.engine.pack.written.views import VariableTable
from layette.engine.pack.written.written_pack import WrittenPack
from layette.engine.pack.written.yaml_nodes import Document, Path

UNUSED_LABEL = "no finding has the value"


def check_asked(pack: WrittenPack) -> Iterator[PackProblem]:
    """Yield sources of `how` that do not exist, and labels of values that no finding has."""
    used = {word for shape in pack.findings.values() for word in _words(shape)}
    for name, shape in pack.findings.items():
        document, path = pack.finding_documents[name], ("findings", name)
        if shape.how is not None:
            yield from check_sources(document, (*path, "how", "source"), listed(shape.how.source), pack.sources)
        for value in shape.value_labels:
            if value not in _words(shape):
                message = f"'{value}' is no value of '{name}', so it needs no label"
                yield document.problem((*path, "value_labels", value), "unknown-value", message)
    shared = pack.documents.get(pack.shape.values or "")
    for value in pack.value_labels if shared is not None else ():
        if value not in used and shared is not None:
            yield shared.problem(("labels", value), "unknown-value", f"{UNUSED_LABEL} '{value}'")


def _words(shape: FindingShape) -> set[str]:
    """Return what may be recorded of a finding by name."""
    return {*(shape.values or ()), *shape.coarse, "abnormal"} if shape.values else set()


def check_after(subjects: Subjects) -> Iterator[PackProblem]:
    """Yield mistakes in the conditions of `ask: {after: ...}`.

    They are read apart from those of the rules: what is shown on a page must not add to what a visit is asked.
    """
    problems: list[PackProblem] = []
    for name, shape in subjects.findings.items():
        if isinstance(shape.ask, AskAfter):
            document, base = subjects.documents[name], ("findings", name, "ask", "after")

            def report(path: Path, code: str, message: str, document: Document = document) -> None:
                problems.append(document.problem(path, code, message))

            Grammar(subjects, VariableTable(), report).condition(shape.ask.after, base)
    yield from problems


def check_left_out(shape: NormalShape, pack: WrittenPack, document: Document, path: Path) -> Iterator[PackProblem]:
    """Yield what a "normal" of a system must not fill, and what it need not leave out."""
    for finding in shape.spreads:
        if finding in pack.findings and pack.findings[finding].by_hand:
            message = f"'{finding}' takes a hand or an instrument, so no normal of a system fills it: see 'leaves_out'"
            yield document.problem((*path, "spreads", finding), "shape", message)
    for finding in shape.leaves_out:
        if finding not in pack.findings:
            yield document.problem((*path, "leaves_out"), "unknown-finding", f"no finding '{finding}' is defined")
        elif not pack.findings[finding].by_hand:
            message = f"'{finding}' is not 'by_hand': say what it spreads, or leave it off this list"
            yield document.problem((*path, "leaves_out"), "shape", message)
    if not shape.spreads and not shape.leaves_out:
        yield document.problem(path, "shape", "a normal of a system says what it 'spreads' or 'leaves_out'")
