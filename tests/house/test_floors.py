"""The floors of the house: a room imports only what lies below it, no files stand in a ring, no folder is too full."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Set
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import PurePosixPath

import pytest
from support.checkout import ROOT, files

ORDER = (
    "engine.terms engine.errors engine.shape_words engine.exact engine.measures engine.tables engine.logic "
    "engine.pack.written engine.pack.grammar engine.pack.checks engine.pack engine.visit engine.states "
    "engine.answer.shapes engine.answer.parts engine.answer.resolved engine.answer engine.cases|engine.cohort "
    "engine.published|engine.api engine engine.face "
    "mapping.codes mapping.cores mapping.fhir mapping.fhir_json mapping.flat_references mapping.pack_view "
    "mapping.settle mapping.validate.rules mapping.validate mapping.door mapping.words mapping.read.bundle "
    "mapping.read.codes mapping.read.resources mapping.read mapping.read.hl7v2 mapping.account mapping.text "
    "mapping.write.run mapping.write.words mapping.write.resources mapping.write mapping.export mapping.intake "
    "mapping.answering mapping.many mapping.cohort mapping.pages mapping.service mapping.cli"
)
"""The rooms from the ground up, rooms of one floor with `|` between. The longest name with which a module's name begins
is its room."""

FLOOR = {f"layette.{room}": floor for floor, rooms in enumerate(ORDER.split()) for room in rooms.split("|")}
MOST = 15

TODAY: frozenset[tuple[str, str]] = frozenset()
"""What still goes up or closes a ring, as importer and imported, in the engine alone. It may only become shorter."""


@cache
def modules() -> dict[str, ast.Module]:
    """Every module by its name; a folder's own module goes by the name of the folder."""
    paths = [PurePosixPath(name) for name in files() if name.startswith(("engine/", "mapping/")) and name[-3:] == ".py"]
    names = {path: ".".join(("layette", *path.with_suffix("").parts)).removesuffix(".__init__") for path in paths}
    return {name: ast.parse((ROOT / path).read_text(encoding="utf-8")) for path, name in names.items()}


@cache
def edges() -> frozenset[tuple[str, str]]:
    """Who imports whom, wherever in a file the import stands, in names without the root's."""
    nodes = ((by, n) for by, tree in modules().items() for n in ast.walk(tree) if isinstance(n, ast.ImportFrom))
    named = ((by, node.module or "", alias.name) for by, node in nodes for alias in node.names)
    pairs = {(by, whole if (whole := f"{base}.{name}") in modules() else base) for by, base, name in named}
    return frozenset((by[8:], to[8:]) for by, to in pairs if to in modules() and by != to)


def floor(module: str) -> int:
    room = max((name for name in FLOOR if f"layette.{module}.".startswith(f"{name}.")), key=len)
    return FLOOR[room]


def ring(among: Set[tuple[str, str]]) -> list[str]:
    try:
        TopologicalSorter({by: {to for who, to in among if who == by} for by, _ in among}).prepare()
    except CycleError as error:
        return list(error.args[1])
    return []


def test_every_import_goes_down_and_no_files_stand_in_a_ring() -> None:
    up = {(by, to) for by, to in edges() if floor(to) > floor(by)}
    assert up - TODAY == set()
    assert ring(edges() - TODAY) == []
    assert [pair for pair in TODAY if pair not in up and not ring(edges() - TODAY | {pair})] == [], "mended: unlist it"
    assert [pair for pair in TODAY if pair not in edges() or pair[0].startswith("mapping.")] == []


def test_imports_are_written_in_full() -> None:
    nodes = [(name, node) for name, tree in modules().items() for node in ast.walk(tree)]
    assert [name for name, node in nodes if isinstance(node, ast.ImportFrom) and node.level] == []
    plain = [(name, alias.name) for name, node in nodes if isinstance(node, ast.Import) for alias in node.names]
    assert [pair for pair in plain if pair[1].startswith("layette")] == []


@pytest.mark.parametrize("part", ["engine", "mapping"])
def test_no_folder_holds_more_than_one_can_oversee(part: str) -> None:
    inside = [PurePosixPath(name) for name in files() if name.startswith(f"{part}/") and name.endswith(".py")]
    full = Counter(str(path.parent) for path in inside if path.name != "__init__.py")
    assert {folder: number for folder, number in full.items() if number > MOST} == {}
