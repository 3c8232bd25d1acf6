"""The checkout as the tests of the whole project see it: its files, its README, and commands run in it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FOLDERS = ("engine", "mapping", "rules", "schemas")
"""The folders that are installed, as `layette.<folder>`."""


Ended = subprocess.CompletedProcess[str]


def run(*command: str | Path, cwd: Path = ROOT, env: Mapping[str, str] | None = None) -> Ended:
    """Run a command to its end, whatever its exit code; it sees no other Python's settings."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    words = [str(word) for word in command]
    return subprocess.run(words, cwd=cwd, env=kept | dict(env or {}), capture_output=True, text=True, check=False)


def done(*command: str | Path, cwd: Path = ROOT, env: Mapping[str, str] | None = None) -> str:
    """Run a command that has to succeed and return its standard output."""
    ended = run(*command, cwd=cwd, env=env)
    words = " ".join(map(str, command))
    assert ended.returncode == 0, f"{words} ended with {ended.returncode}\n{ended.stdout}{ended.stderr}"
    return ended.stdout


@cache
def files() -> tuple[str, ...]:
    """Return the files on the disk that git has or would take, from the top, with `/`; skips outside a git checkout."""
    if not (ROOT / ".git").exists() or not shutil.which("git"):
        pytest.skip("this is no git checkout, so there is no list of files to compare with")
    listed = done("git", "ls-files", "-z", "--cached", "--others", "--exclude-standard")
    return tuple(sorted({name for name in listed.split("\0") if name and os.path.lexists(ROOT / name)}))


def blocks(document: str, language: str) -> list[str]:
    """Return the fenced blocks of one language in a Markdown file of the top folder."""
    text = (ROOT / document).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def shown_example() -> Path:
    """Return the shipped example that the README's first command assesses."""
    found = re.search(r"layette assess (\S+)", blocks("README.md", "bash")[0])
    assert found, "the README's first command runs the main job"
    return ROOT / found[1]
