"""What a start of the command loads: no more than the verb that runs, the form that comes and the form that goes."""

from __future__ import annotations

import gc
import json
import subprocess
import sys
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import NamedTuple

import pytest
from support.checkout import ROOT
from support.small_pack import FOLDER, visit

from layette.engine.answer.assemble import engine_version
from layette.mapping.cli import command
from layette.mapping.settle import settle

PROGRAM = """
import gc, json, sys
from layette.mapping.cli import main
for words in json.loads(sys.argv[1]):
    assert main(words) == 0
    print(json.dumps([gc.get_freeze_count(), sorted(sys.modules)]), file=sys.stderr)
"""
FLAT, BUNDLE = "examples/healthy-day-4.yaml", "examples/healthy-day-4.json"
WRITERS = ("layette.mapping.write", "layette.mapping.validate", "jsonschema_rs", "lxml")


class Ran(NamedTuple):
    """A process when a command has run in it: how many objects garbage collection leaves out, and its modules."""

    frozen: int
    modules: set[str]


def ran(*commands: list[str]) -> list[Ran]:
    """Run commands one after another in one process; what a later one needs may be there already."""
    words = [sys.executable, "-c", PROGRAM, json.dumps(commands)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
    told = [json.loads(line) for line in done.stderr.splitlines() if line.startswith("[")]
    assert len(told) == len(commands)
    return [Ran(frozen, set(modules)) for frozen, modules in told]


@cache
def shipped() -> list[Ran]:
    """A page of a flat visit, then of a Bundle, then FHIR: each needs more than the one before."""
    return ran(["assess", FLAT], ["assess", BUNDLE], ["assess", FLAT, "--to", "fhir-json", "--out", "-"])


@pytest.mark.parametrize("words", [["--help"], ["nothing", "--help"], []])
def test_help_loads_no_engine(words: list[str]) -> None:
    code = f"from layette.mapping.cli import main; main({words!r}); import sys; print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    found = done.stderr.splitlines()[-1].split()
    assert "layette.mapping.cli.command" in found
    heavy = ("layette.engine", "numpy", "pydantic", "lxml", "yaml")
    assert [name for name in found if name.partition(".")[0] in heavy or name.startswith("layette.engine")] == []


def test_help_lists_every_verb_with_its_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert command.main(["--help"]) == 0
    told = capsys.readouterr().out
    told = " ".join(told.split())
    assert [verb for verb, line in command.VERBS.items() if f" {verb} {line} " not in told] == []
    files = {place.stem.replace("_", "-") for place in (ROOT / "mapping/cli/verbs").glob("[!_]*.py")}
    assert files == set(command.VERBS)


def test_a_verb_loads_no_other_verb() -> None:
    found = ran(["assess", "--help"])[0].modules
    verbs = {f"layette.mapping.cli.verbs.{verb.replace('-', '_')}" for verb in command.VERBS}
    assert found & verbs == {"layette.mapping.cli.verbs.assess"}
    assert "layette.mapping.export" not in found


@pytest.mark.xdist_group("start")
def test_a_page_of_text_needs_nothing_that_writes_fhir() -> None:
    page, _, written = shipped()
    assert [name for name in WRITERS if name in page.modules] == []
    assert "layette.mapping.write" in written.modules


@pytest.mark.xdist_group("start")
def test_a_page_of_text_from_fhir_needs_the_check_of_what_came_in_and_no_writers() -> None:
    found = shipped()[1].modules
    assert "layette.mapping.validate" in found
    assert [name for name in ("layette.mapping.write", "layette.mapping.fhir.xml", "hl7apy") if name in found] == []


def test_the_version_of_the_engine_is_read_from_the_disk_once(monkeypatch: pytest.MonkeyPatch) -> None:
    known = engine_version()
    monkeypatch.setattr(metadata.Distribution, "from_name", lambda name: pytest.fail("it was read again"))
    assert engine_version() == known


def test_a_loaded_pack_is_left_out_of_garbage_collection_once() -> None:
    try:
        settle.cache_clear()
        settle()
        frozen = gc.get_freeze_count()
        assert frozen > 1000
        _later = [[] for _ in range(1000)]
        settle()
        assert gc.get_freeze_count() <= frozen
    finally:
        gc.unfreeze()


@pytest.mark.xdist_group("start")
def test_the_command_settles_when_its_pack_is_loaded() -> None:
    assert shipped()[0].frozen > 10_000


def test_another_pack_is_assessed_without_the_one_that_ships(tmp_path: Path) -> None:
    """To tell whether a pack goes by the shipped name, the shipped rules need not be loaded."""
    place = tmp_path / "visit.json"
    place.write_text(json.dumps(visit({"barlow.left": "positive"})), encoding="utf-8")
    code = (
        "import sys; from layette.engine import api; from layette.mapping.cli import main; "
        "assert main(sys.argv[1:]) == 0; print(api.default.cache_info().misses, file=sys.stderr)"
    )
    words = [sys.executable, "-c", code, "assess", str(place), "--pack", str(FOLDER)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stderr.splitlines()[-1] == "0"
