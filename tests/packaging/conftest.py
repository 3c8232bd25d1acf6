"""The distribution, built once for all packaging tests: sdist from a clean tree, wheel from the sdist."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from support.checkout import done
from support.installs import Installed, copy_of_the_tree, install


@dataclass(frozen=True)
class Built:
    """The two files of a release."""

    sdist: Path
    wheel: Path


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Built:
    """Build sdist and wheel with the build requirements that the tests' environment already has."""
    tree = copy_of_the_tree(tmp_path_factory.mktemp("tree"))
    out = tmp_path_factory.mktemp("dist")
    done(sys.executable, "-m", "build", "--no-isolation", "--outdir", out, tree, cwd=out)
    (sdist,) = out.glob("*.tar.gz")
    (wheel,) = out.glob("*.whl")
    return Built(sdist, wheel)


@pytest.fixture(scope="session")
def plain(built: Built, tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """The wheel without extras in a fresh environment of this interpreter."""
    return install(built.wheel, tmp_path_factory.mktemp("plain"))
