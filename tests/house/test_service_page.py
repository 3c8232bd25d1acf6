"""The page of what is served names every route and every code of refusal, and no other."""

from __future__ import annotations

import re
from typing import Any

from support.checkout import ROOT

from layette.mapping.service.app import application
from layette.mapping.service.limits import Limits
from layette.mapping.service.reply import REFUSALS

PAGE = (ROOT / "mapping/service/WHAT-IS-SERVED.md").read_text(encoding="utf-8")


def test_every_route_is_described_once() -> None:
    guard: Any = application(None, Limits())  # type: ignore[arg-type]
    paths = guard.app.openapi()["paths"]
    found = {f"{method.upper()} {path}" for path, methods in paths.items() for method in methods}
    told = re.findall(r"^\| `([A-Z]+ \S+)` \|", PAGE, re.MULTILINE)
    assert sorted(told) == sorted(found - {"GET /assets/{name}"})


def test_every_refusal_is_explained_with_its_status() -> None:
    told = re.findall(r"^\| `([a-z-]+)` \| (\d+) \|", PAGE, re.MULTILINE)
    assert told == [(code, str(status)) for code, (status, _) in REFUSALS.items()]


def test_the_limits_are_those_that_hold() -> None:
    usual = Limits()
    for text in (f"({usual.size >> 20} MB;", f"({usual.seconds:g} s;", f"({usual.waiting};",
                 f"waited for {usual.patience:g} s", f"within {usual.upload:g} s"):  # fmt: skip
        assert text in PAGE, text
