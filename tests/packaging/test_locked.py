"""The frozen libraries are those that `pyproject.toml` asks for today, whole, and each with its hash."""

from __future__ import annotations

import os
import re
import sys
import tomllib
from collections.abc import Iterator
from importlib import metadata

import pytest
from packaging.requirements import Requirement
from support.checkout import ROOT

LINE = re.compile(r"([a-z0-9-]+)==(\S+) --hash=sha256:[0-9a-f]{64}")
ASKED = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
OF_ITS_PYTHON = pytest.mark.skipif(sys.version_info[:2] != (3, 11), reason="the libraries are frozen for Python 3.11")


def lines(name: str) -> list[str]:
    text = (ROOT / ".ci" / name).read_text(encoding="utf-8")
    return [line for line in text.splitlines() if line and not line.startswith("#")]


def locked() -> dict[str, str]:
    """Name and version of each frozen library; a line of any other form fails."""
    found = {line: LINE.fullmatch(line) for line in lines("locked.txt")}
    assert [line for line, match in found.items() if match is None] == []
    return {match[1]: match[2] for match in found.values() if match}


def canonical(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def of_this_python(written: list[str]) -> Iterator[Requirement]:
    """Yield the requirements whose markers hold here."""
    for one in map(Requirement, written):
        if one.marker is None or one.marker.evaluate({"extra": ""}):
            yield one


@OF_ITS_PYTHON
def test_all_that_is_asked_for_is_frozen_in_a_version_that_is_asked_for() -> None:
    project = ASKED["project"]
    asked = [
        *project["dependencies"],
        *(one for several in project["optional-dependencies"].values() for one in several),
    ]
    have = locked()
    for one in of_this_python([*asked, *ASKED["build-system"]["requires"]]):
        version = have.get(canonical(one.name))
        assert version is not None, f"{one} is not in .ci/locked.txt: run .ci/lock.py"
        assert one.specifier.contains(version, prereleases=True), f"{one}, and {version} is frozen: run .ci/lock.py"


@OF_ITS_PYTHON
def test_what_they_bring_is_frozen_too() -> None:
    have = locked()
    here = {canonical(one.name): one for one in metadata.distributions()}
    for name in have.keys() & here.keys():
        if here[name].version != have[name]:
            continue  # another release may ask for others
        for needed in of_this_python(here[name].requires or []):
            assert needed.specifier.contains(have[canonical(needed.name)], prereleases=True), f"{name}: {needed}"


def test_the_constraints_are_the_versions_of_the_frozen_files() -> None:
    assert lines("constraints.txt") == [f"{name}=={version}" for name, version in locked().items()]


def test_libraries_that_are_0_x_have_an_upper_bound() -> None:
    have, project = locked(), ASKED["project"]
    asked = [
        *project["dependencies"],
        *(one for several in project["optional-dependencies"].values() for one in several),
    ]
    assert [
        one.name
        for one in map(Requirement, asked)
        if have[canonical(one.name)].startswith("0.")
        and not any(part.operator in ("<", "==") for part in one.specifier)
    ] == []


@pytest.mark.skipif("constraints.txt" not in os.environ.get("PIP_CONSTRAINT", ""), reason="installed without them")
@OF_ITS_PYTHON
def test_what_is_installed_under_the_constraints_is_what_is_frozen() -> None:
    have = locked()
    installed = {canonical(one.name): one.version for one in metadata.distributions()}
    assert {name: installed[name] for name in have.keys() & installed.keys()} == {
        name: have[name] for name in have.keys() & installed.keys()
    }
