"""The house: what lies at the top, what is installed, and who may import whom."""

from __future__ import annotations

import ast
import tomllib
from collections.abc import Iterator
from pathlib import PurePosixPath

import pytest
from support.checkout import FOLDERS, ROOT, files
from support.imports import statements

from layette.engine.pack.written.yaml_nodes import parse

TOP = {*FOLDERS, "examples", "tests", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml"}
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
INSTALLED = SETTINGS["tool"]["setuptools"]["packages"]

OTHER_WORDS = {"length", "weight"}
"""Names of findings that the engine uses for something else: a dimension of units (`quantities`), a parameter of a
measure (`feed_volume_per_day`), and where a gain is counted from (`gain_per_day`; its finding is named by the pack)."""


def test_the_top_holds_the_agreed_entries_and_dotfiles_only():
    found = {name.partition("/")[0] for name in files()}
    assert {name for name in found if not name.startswith(".")} == TOP


def test_every_folder_on_the_disk_is_listed_as_a_package():
    inside = [PurePosixPath(name).parent for name in files() if name.partition("/")[0] in FOLDERS]
    names = {".".join(("layette", *folder.parts)) for folder in inside} - {"layette.engine.face"}
    assert sorted(INSTALLED) == sorted({*names, "layette"})


def test_every_folder_that_is_installed_is_a_package():
    missing = [name for name in INSTALLED if not (ROOT / _folder(name) / "__init__.py").is_file()]
    assert missing == []


def _folder(package: str) -> str:
    """The face of the whole package lies in the engine's room; all else lies where its name says."""
    return "engine/face" if package == "layette" else package.removeprefix("layette.").replace(".", "/")


def test_rules_and_schemas_hold_data_only():
    code = [ROOT / name for name in files() if name.startswith(("rules/", "schemas/")) and name.endswith(".py")]
    assert [str(place) for place in code if place.stat().st_size] == []


@pytest.mark.parametrize("folder", FOLDERS)
def test_checkers_see_each_folder_through_a_link(folder):
    assert (ROOT / ".types/layette" / folder).resolve() == ROOT / folder


def test_the_engine_never_imports_mapping():
    assert [place for place, module in _imports("engine/") if module.startswith("layette.mapping")] == []


def test_nothing_imports_a_folder_by_its_bare_name():
    bare = [(place, module) for place, module in _imports("") if module.partition(".")[0] in (*FOLDERS, "examples")]
    assert bare == []


def test_the_engine_names_no_finding_of_the_pack():
    names = _finding_names()
    assert [(place, text) for place, text in _texts("engine/") if text in names - OTHER_WORDS] == []


def _modules(prefix: str) -> Iterator[tuple[str, ast.Module]]:
    for name in files():
        if name.startswith(prefix) and name.endswith(".py") and not name.startswith(".types/"):
            yield name, ast.parse((ROOT / name).read_text(encoding="utf-8"))


def _imports(prefix: str) -> Iterator[tuple[str, str]]:
    """Yield (file:line, absolute name of what is imported) for every import, relative ones resolved."""
    for name, module in _modules(prefix):
        for node in statements(module):
            if isinstance(node, ast.Import):
                yield from ((f"{name}:{node.lineno}", alias.name) for alias in node.names)
            elif isinstance(node, ast.ImportFrom):
                base = _absolute(name, node)
                yield from ((f"{name}:{node.lineno}", f"{base}.{alias.name}") for alias in node.names)


def _absolute(name: str, node: ast.ImportFrom) -> str:
    if not node.level:
        return node.module or ""
    package = ("layette", *PurePosixPath(name).parent.parts)
    kept = package[: len(package) - node.level + 1]
    return ".".join((*kept, *([node.module] if node.module else [])))


def _texts(prefix: str) -> Iterator[tuple[str, str]]:
    """Yield (file:line, text) for every text written in the code."""
    for name, module in _modules(prefix):
        for node in ast.walk(module):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield f"{name}:{node.lineno}", node.value


def _finding_names() -> set[str]:
    read = [
        parse(place.read_text(encoding="utf-8"), place.name).data
        for place in (ROOT / "rules").glob("*/findings/*.yaml")
    ]
    return {name for area in read for name in area["findings"]}
