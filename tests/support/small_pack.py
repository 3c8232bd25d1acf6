"""The invented pack of `tests/packs/small`: loaded once, and copies of it with one thing changed."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from support.checkout import ROOT

from layette.engine import Assessment, Pack, load_pack

FOLDER = ROOT / "tests/packs/small"
BORN = "2026-11-20T08:00:00-06:00"
AT = "2026-11-24T10:00:00-06:00"

Edit = tuple[str, str, str]
"""A file of the pack, the text to replace (empty: append; `*`: the whole file), and what stands there instead."""


@lru_cache(maxsize=1)
def small() -> Pack:
    """The pack as it stands."""
    return load_pack(FOLDER)


def copied(place: Path, *edits: Edit) -> Path:
    """Copy the pack to ``place`` with every edit made; a text that is not there once fails the test."""
    folder = place / "pack"
    shutil.copytree(FOLDER, folder)
    for file, old, new in edits:
        path = folder / file
        if old == "*":
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(new, encoding="utf-8")
            continue
        text = path.read_text(encoding="utf-8")
        assert not old or text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {file}"
        path.write_text(text.replace(old, new) if old else text + new, encoding="utf-8")
    return folder


def visit(findings: Mapping[str, Any] | None = None, **parts: Any) -> dict[str, Any]:
    """A flat visit on the fifth day of life."""
    return {"born": BORN, "at": AT, "findings": dict(findings or {}), **parts}


def assess(
    findings: Mapping[str, Any] | None = None, readers: Iterable[str] | None = ("native",), **parts: Any
) -> Assessment:
    """The assessment of such a visit by the small pack."""
    return small().assess(visit(findings, **parts), readers=readers)


def statuses(found: Assessment) -> dict[str, str]:
    """Rule (with side) -> status."""
    return {traced.rule: traced.status for traced in found.trace}


def rule(text: str) -> Edit:
    """Append a rule to the decisions; ``text`` holds its id and when, the rest is filled in where it is missing."""
    rest = {
        "title": "A test",
        "then": "[{refer: ophthalmology, priority: urgent}]",
        "because": "For tests.",
        "source": "invented",
    }
    lines = text.strip().splitlines()
    given = {line.strip().removeprefix("- ").split(":")[0] for line in lines}
    lines += [f"  {key}: {value}" for key, value in rest.items() if key not in given]
    return ("decisions/exam.yaml", "", "\n".join(lines) + "\n")
