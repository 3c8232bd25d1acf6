"""Print the licences of what an installation brings, the page `.ci/LICENCES.md`; run it where all is installed.

$ .venv/bin/python .ci/licences.py > .ci/LICENCES.md
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

HEAD = """# What an installation brings, and under which licence

Layette itself is under Apache-2.0. The libraries below are installed beside it by `pip`; none of them is copied
into it. *always* is a plain installation; the other words are its extras. Made by `.ci/licences.py`; a test holds it.

| library | when | licence |
| --- | --- | --- |"""
_NAME = re.compile(r"[A-Za-z0-9._-]+")


def rows() -> Iterator[str]:
    """Yield a row for each library that `pyproject.toml` names, and for those that they bring, by name."""
    found: dict[str, str] = {}
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))["project"]
    named = {"always": project["dependencies"], **project["optional-dependencies"]}
    queue = [(needed, when) for when, several in named.items() for needed in several]
    for needed, when in queue:  # it grows while it is read
        name = _canonical(needed)
        if name in found:
            continue
        try:
            own = metadata.distribution(name)
        except metadata.PackageNotFoundError:
            continue  # of another version of Python
        found[name] = f"| {name} | {when} | {_licence(own.metadata)} |"
        queue += [(more, when) for more in own.requires or () if "extra" not in more]
    yield from (found[name] for name in sorted(found))


def _canonical(needed: str) -> str:
    match = _NAME.match(needed)
    assert match is not None
    return re.sub(r"[-_.]+", "-", match[0]).lower()


def _licence(about: metadata.PackageMetadata) -> str:
    said = about.get("License-Expression") or about.get("License") or ""
    classes = [one.rpartition(" :: ")[2] for one in about.get_all("Classifier") or () if one.startswith("License ::")]
    return said if said and len(said) < 60 else ", ".join(classes) or "see its own text"


if __name__ == "__main__":
    print(HEAD, *rows(), sep="\n")
