"""Installing the built distribution elsewhere, on this interpreter or another, for the packaging tests."""

from __future__ import annotations

import json
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from support.checkout import ROOT, Ended, done, files, run, shown_example


def copy_of_the_tree(place: Path) -> Path:
    """Copy the repository's files alone into a repository of their own: clean, with nothing left from a build.

    They are committed there, because the finder of files for the sdist asks git for a commit.
    """
    for name in files():
        target = place / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(ROOT / name, target, follow_symlinks=False)
    done("git", "init", "--quiet", cwd=place)
    done("git", "add", "--all", cwd=place)
    who = ("-c", "user.name=tests", "-c", "user.email=tests@layette.example", "-c", "commit.gpgsign=false")
    done("git", *who, "commit", "--quiet", "--message", "The tree under test", cwd=place)
    return place


@dataclass(frozen=True)
class Installed:
    """A virtual environment outside the checkout with the wheel in it."""

    python: Path
    folder: Path

    def layette(self, *words: str | Path) -> str:
        """Run the console command away from the checkout; it has to succeed."""
        return done(self.python.with_name("layette"), *words, cwd=self.folder)

    def pip(self, *words: str | Path, **env: str) -> Ended:
        """Run this interpreter's pip for that environment, whatever its exit code."""
        return run(sys.executable, "-m", "pip", "--python", self.python, *words, cwd=self.folder, env=env)

    def assessment(self) -> dict[str, Any]:
        """Return the assessment of the README's example."""
        found: dict[str, Any] = json.loads(self.layette("assess", shown_example(), "--to", "json"))
        return found


def install(wheel: Path, folder: Path, *, interpreter: str = sys.executable, extra: str = "") -> Installed:
    """Make a fresh virtual environment in ``folder`` and install the wheel with its dependencies.

    It gets no pip of its own: to unpack one takes as long as the tests of that environment.
    """
    done(interpreter, "-m", "venv", "--without-pip", folder / "venv", cwd=folder)
    installed = Installed(folder / "venv/bin/python", folder)
    ended = installed.pip("install", "--quiet", "--no-compile", f"{wheel}{extra}")
    assert ended.returncode == 0, ended.stderr
    return installed


def other_interpreters() -> list[str]:
    """Return the further versions of Python that Layette supports."""
    return [f"3.{minor}" for minor in range(11, 15) if (3, minor) != sys.version_info[:2]]


def interpreter(version: str) -> str | None:
    """Return the Python of this version, or None where this machine has none that runs."""
    name = f"python{version}"
    found = shutil.which(name)
    if found and _runs(found, version):
        return found
    # A pyenv shim refuses to run a version that is not chosen, but pyenv knows where it lies.
    pyenv = shutil.which("pyenv")
    listed = run(pyenv, "whence", "--path", name).stdout.split() if pyenv else []
    return next((path for path in listed if _runs(path, version)), None)


def _runs(path: str, version: str) -> bool:
    asked = "import sys, venv, ensurepip; print('%d.%d' % sys.version_info[:2])"
    try:
        return run(path, "-c", asked).stdout.strip() == version
    except OSError:
        return False
