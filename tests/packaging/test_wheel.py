"""The release: what is in the sdist and the wheel, and whether the wheel works away from the checkout."""

from __future__ import annotations

import tarfile
import zipfile

import pytest
from support.checkout import FOLDERS, done, files, shown_example

pytestmark = [pytest.mark.pythons, pytest.mark.slow, pytest.mark.xdist_group("packaging")]


def test_the_sdist_holds_every_file_of_the_repository_and_no_other(built):
    with tarfile.open(built.sdist) as archive:
        names = {member.name.partition("/")[2] for member in archive.getmembers() if not member.isdir()}
    # The links in .types are for mypy alone; a finder of files may follow or leave out such a link.
    made = {name for name in names if name in ("PKG-INFO", "setup.cfg") or name.startswith("layette.egg-info/")}
    assert _without_links(names - made) == _without_links(files())


def _without_links(names):
    return {name for name in names if not name.startswith(".types/")}


def test_the_wheel_holds_every_installed_file_and_nothing_stale(built):
    with zipfile.ZipFile(built.wheel) as archive:
        names = {name for name in archive.namelist() if ".dist-info/" not in name}
    installed = {f"layette/{name}" for name in files() if name.partition("/")[0] in FOLDERS}
    assert names == {name.replace("layette/engine/face/", "layette/") for name in installed}


def test_the_installed_wheel_does_the_main_job(plain):
    visit = shown_example()
    assert "Rule pack newborn" in plain.layette("assess", visit)
    assert '"resourceType":"Bundle"' in plain.layette("assess", visit, "--to", "fhir-json")
    assert "<Bundle" in plain.layette("assess", visit, "--to", "fhir-xml")
    assert " 0 failed" in plain.layette("check")


def test_the_installed_wheel_is_what_runs_and_knows_its_version(plain):
    says = "import layette.engine as engine; print(engine.__version__, engine.__file__)"
    version, place = done(plain.python, "-c", says, cwd=plain.folder).split()
    assert version == "0.1.0"
    assert place.startswith(str(plain.folder))
