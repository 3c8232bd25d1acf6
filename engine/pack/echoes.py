"""Mistakes that only echo another one: a name that is "unknown" because its own file could not be read."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from layette.engine.errors import PackProblem

BREAKING = ("yaml", "shape", "unknown-priority", "table-gap", "table-overlap", "table-value", "threshold-set")
"""What makes a file, or a part of it, unusable."""
ECHOES = ("unknown-finding", "unknown-source", "unknown-target", "unknown-setting", "unknown-rule", "file-missing")
_QUOTED = re.compile("'([^']+)'")


def without_echoes(problems: Iterable[PackProblem], texts: Mapping[str, str]) -> list[PackProblem]:
    """Return the problems without those that will be gone once the unusable files are mended.

    ``texts`` are the files as written: a name that stands in no unusable file is a mistake of its own, and kept.
    """
    listed = list(problems)
    broken = {p.file for p in listed if p.code in BREAKING}
    text = "\n".join(f"{name}\n{texts.get(name, '')}" for name in sorted(broken))
    known = set(re.split(r"[^a-z0-9_.\-]+", text)) | {part for name in broken for part in re.split(r"[/.]", name)}
    names_lost = bool(broken & {"sources.yaml", "settings.yaml"})
    return [p for p in listed if not (_names(p) & known) and not (names_lost and _of_issuers(p))]


def _names(problem: PackProblem) -> set[str]:
    return set(_QUOTED.findall(problem.message)[:1]) if problem.code in ECHOES else set()


def _of_issuers(problem: PackProblem) -> bool:
    return problem.code == "threshold-set" and not problem.file.startswith("tables/")
