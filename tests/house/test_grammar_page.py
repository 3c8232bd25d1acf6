"""Every example of the grammar page has the shape that the loader accepts, and every measure the row it declares."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest
from pydantic import BaseModel
from support.checkout import ROOT, blocks

from layette.engine.cases.written import CaseShape
from layette.engine.measures import REGISTRY
from layette.engine.pack.written.rule_shapes import RuleShape, TargetShape
from layette.engine.pack.written.shape import OrdersFile
from layette.engine.pack.written.shapes import FindingsFile, MeasureShape, SettingShape, SourceShape
from layette.engine.pack.written.translations import TranslationFile
from layette.engine.pack.written.yaml_nodes import parse

SHAPES: dict[str, type[BaseModel]] = {
    "cases": CaseShape,
    "decisions": RuleShape,
    "findings": FindingsFile,
    "measures.yaml": MeasureShape,
    "orders.yaml": OrdersFile,
    "settings.yaml": SettingShape,
    "sources.yaml": SourceShape,
    "targets": TargetShape,
    "translations": TranslationFile,
}
PAGE = (ROOT / "rules/GRAMMAR.md").read_text(encoding="utf-8")
EXAMPLES = [(block.splitlines()[0].removeprefix("# "), block) for block in blocks("rules/GRAMMAR.md", "yaml")]


@pytest.mark.parametrize(("file", "text"), EXAMPLES, ids=[file for file, _ in EXAMPLES])
def test_an_example_has_the_shape_of_its_file(file: str, text: str):
    document = parse(text, file)
    assert document.problems == []
    shape = SHAPES[file.partition("/")[0]]
    for entry in _entries(shape, document.data):
        shape.model_validate(entry)


def _entries(shape: type[BaseModel], data: Any) -> Iterable[Any]:
    if shape in (FindingsFile, OrdersFile, TranslationFile):
        return [data]
    return data if isinstance(data, list) else data.values()


def test_every_function_that_a_pack_may_bind_has_the_row_that_it_declares():
    table = PAGE.partition("\n## Measures\n")[2].partition("\n## ")[0]
    rows = [line for line in table.splitlines() if line.startswith("| `")]
    assert rows == [declared.grammar_row for declared in REGISTRY.values()]
