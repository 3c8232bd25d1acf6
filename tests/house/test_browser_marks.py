"""What needs a real browser carries its mark, so that the other tests run without one; nothing else carries it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from support.checkout import ROOT

TESTS = ROOT / "tests"
LOOKS = {"browser", "server", "desk", "open_desk"}
"""The fixtures of `tests/mapping/pages/exam/conftest.py`."""
OPENS = "opened_browser("
"""What begins a browser where no fixture does."""
MARK = "pytest.mark.browser"


def test_a_test_is_marked_where_it_looks_through_a_browser_and_nowhere_else() -> None:
    wrong = [
        name for path in sorted(TESTS.rglob("test_*.py")) for name, looks, marked in _tests(path) if looks != marked
    ]
    assert wrong == []


def test_there_are_marked_tests_at_all() -> None:
    marked = [name for path in TESTS.rglob("test_*.py") for name, _, marked in _tests(path) if marked]
    assert len(marked) > 30


def _tests(path: Path) -> Iterator[tuple[str, bool, bool]]:
    """Yield each test of a file: its name, whether it asks for a fixture of the browser, whether it is marked."""
    text = path.read_text("utf-8")
    if "browser" not in text and "desk" not in text:
        return
    tree = ast.parse(text)
    whole = any(ast.unparse(one).startswith("pytestmark") and MARK in ast.unparse(one) for one in tree.body)
    for one in tree.body:
        if isinstance(one, ast.FunctionDef) and one.name.startswith("test_"):
            asked = {argument.arg for argument in one.args.args}
            marked = whole or any(MARK in ast.unparse(mark) for mark in one.decorator_list)
            looks = bool(LOOKS & asked) or OPENS in ast.unparse(one)
            yield f"{path.relative_to(ROOT)}::{one.name}", looks, marked
