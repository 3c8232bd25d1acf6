"""The contributor guide names files and tests that exist."""

from __future__ import annotations

import re

from support.checkout import ROOT, files

GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
NAMED = set(re.findall(r"`([^`\s<>]+)`", GUIDE))


def test_every_path_in_the_guide_exists():
    paths = {name for name in NAMED if "/" in name and name.partition("/")[0] in {f.partition("/")[0] for f in files()}}
    assert [path for path in sorted(paths) if not (ROOT / path).exists()] == []


def test_every_test_in_the_guide_exists():
    sources = [(ROOT / f).read_text(encoding="utf-8") for f in files() if re.search(r"(^|/)test_\w+\.py$", f)]
    defined = set(re.findall(r"^def (test_\w+)", "\n".join(sources), re.MULTILINE))
    assert sorted(name for name in NAMED if name.startswith("test_")) == sorted(
        name for name in NAMED if name.startswith("test_") and name in defined
    )
