"""The notebook of `examples/`: its cells run one after the other, and what they show is what its words promise.

The cells are run as a kernel would, each in the names of those before it; the last line of a cell is what it shows.
"""

from __future__ import annotations

import ast
import json
import sys
import types
from typing import Any

import pytest
from support.checkout import ROOT

from layette.engine.answer.parts.assessment import Assessment

NOTEBOOK = json.loads((ROOT / "examples/notebook.ipynb").read_text("utf-8"))
CODE = ["".join(cell["source"]) for cell in NOTEBOOK["cells"] if cell["cell_type"] == "code"]


class Html(str):
    """Stands in for the notebook's own display of HTML, which only a notebook has."""


@pytest.fixture(scope="module")
def shown() -> list[Any]:
    """What each cell shows."""
    display = types.ModuleType("IPython.display")
    display.HTML = Html  # type: ignore[attr-defined]
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "IPython", types.ModuleType("IPython"))
        patch.setitem(sys.modules, "IPython.display", display)
        names: dict[str, Any] = {}
        return [run(code, names) for code in CODE]


def run(code: str, names: dict[str, Any]) -> Any:
    *before, last = ast.parse(code).body
    assert isinstance(last, ast.Expr)
    exec(compile(ast.Module(before, []), "cell", "exec"), names)
    return eval(compile(ast.Expression(last.value), "cell", "eval"), names)


def test_the_pack_shows_itself_in_a_line(shown: list[Any]) -> None:
    assert len(repr(shown[0])) < 200


def test_an_assessment_shows_its_page(shown: list[Any]) -> None:
    assessment = shown[1]
    assert isinstance(assessment, Assessment)
    page = assessment._repr_html_()
    assert page is not None
    assert assessment.verdict.text.split(":")[0] in page
    assert page.startswith("<pre")


def test_what_is_to_be_done_stands_with_its_rule(shown: list[Any]) -> None:
    assert ("now", "Ophthalmologist", "left", "eyes.red-reflex-abnormal") in shown[2]
    assert shown[3].endswith(".")
    assert sum(shown[4].values()) > 50


def test_the_report_stands_in_the_notebook_whole(shown: list[Any]) -> None:
    assert isinstance(shown[5], Html)
    assert shown[5].startswith("<!doctype html>")


def test_no_output_of_another_day_is_kept() -> None:
    assert all(
        cell["outputs"] == [] and cell["execution_count"] is None for cell in NOTEBOOK["cells"] if "outputs" in cell
    )
