"""Freeze the libraries of `pyproject.toml`, all extras together, for the Python and the kind of machine that CI has.

$ python3.11 .ci/lock.py            # writes .ci/locked.txt and .ci/constraints.txt anew, from what the index has today
$ python3.11 .ci/lock.py --verify   # fetches every file of .ci/locked.txt and holds it to its hash

`.ci/constraints.txt` holds the versions alone, for `PIP_CONSTRAINT`: pip that is given one hash demands one of
everything, and a checkout that is installed in place has none. `.ci/locked.txt` holds the hash of each file.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
LOCKED, CONSTRAINTS = HERE / "locked.txt", HERE / "constraints.txt"
PYTHON = (3, 11)
HEAD = """# Every library that an installation with all extras brings, each with the hash of its file: Python 3.11
# on Linux x86-64. Made by `.ci/lock.py`; `.ci/lock.py --verify` fetches all of them and compares.
"""
HEAD_OF_CONSTRAINTS = "# The versions of `.ci/locked.txt`, for PIP_CONSTRAINT. Made by `.ci/lock.py`.\n"


def main() -> int:
    """Write both files, or verify what stands in them. Returns the exit code."""
    if sys.version_info[:2] != PYTHON:
        print(f"lock.py: the frozen libraries are those of Python {PYTHON[0]}.{PYTHON[1]}; nothing done")
        return 0 if "--verify" in sys.argv else 2
    if "--verify" in sys.argv:
        return _verify()
    libraries = _resolved()
    LOCKED.write_text(HEAD + "".join(f"{name}=={version} --hash={sha}\n" for name, version, sha in libraries), "utf-8")
    CONSTRAINTS.write_text(
        HEAD_OF_CONSTRAINTS + "".join(f"{name}=={version}\n" for name, version, _ in libraries), "utf-8"
    )
    print(f"lock.py: {len(libraries)} libraries")
    return 0


def _resolved() -> list[tuple[str, str, str]]:
    """Return name, version and hash of all that pip would install into an empty environment, by name."""
    project = tomllib.loads((HERE.parent / "pyproject.toml").read_text("utf-8"))["project"]
    asked = f"{HERE.parent.resolve()}[{','.join(project['optional-dependencies'])}]"
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "report.json"
        _pip("install", "--dry-run", "--ignore-installed", "--report", str(report), asked)
        found: list[dict[str, Any]] = json.loads(report.read_text("utf-8"))["install"]
    return sorted(_library(one) for one in found if one["metadata"]["name"] != project["name"])


def _library(one: dict[str, Any]) -> tuple[str, str, str]:
    name = re.sub(r"[-_.]+", "-", one["metadata"]["name"]).lower()
    return name, one["metadata"]["version"], f"sha256:{one['download_info']['archive_info']['hashes']['sha256']}"


def _verify() -> int:
    with tempfile.TemporaryDirectory() as folder:
        _pip("download", "--no-deps", "--require-hashes", "--dest", folder, "--requirement", str(LOCKED))
        print(f"lock.py: {len(list(Path(folder).iterdir()))} files have the hashes of {LOCKED.name}")
    return 0


def _pip(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check", *words], check=True)


if __name__ == "__main__":
    sys.exit(main())
