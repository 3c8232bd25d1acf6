"""The page of licences names what `pyproject.toml` asks for, as the libraries themselves say it."""

from __future__ import annotations

import subprocess
import sys
import tomllib

from support.checkout import ROOT

PAGE = (ROOT / ".ci/LICENCES.md").read_text(encoding="utf-8")
ROWS = {line.split(" | ")[0].removeprefix("| "): line for line in PAGE.splitlines() if line.startswith("| ")}


def test_every_library_that_is_asked_for_is_on_the_page_as_the_script_finds_it() -> None:
    done = subprocess.run([sys.executable, ".ci/licences.py"], cwd=ROOT, capture_output=True, text=True, check=True)
    found = {line.split(" | ")[0].removeprefix("| "): line for line in done.stdout.splitlines() if line[:2] == "| "}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    always = {name.partition(">")[0].lower() for name in project["dependencies"]}
    assert always <= found.keys()
    assert {name: line for name, line in found.items() if name in always and ROWS.get(name) != line} == {}
    named = {part for several in project["optional-dependencies"].values() for part in several}
    assert {name for name in found if any(one.startswith(name) for one in named)} <= ROWS.keys()


def test_what_users_install_is_under_permissive_licences() -> None:
    for_users = [
        line
        for name, line in ROWS.items()
        if name != "library" and not {"test", "browser", "bench"} & set(line.split(" | "))
    ]
    assert len(for_users) > 10
    # of several that a library offers, one that asks nothing of who uses it is enough
    assert [line for line in for_users if ("GPL" in line and "MPL" not in line) or "see its own" in line] == []
