"""The visits that a reviewer would try first: what must stand where in the answer to each, and its page."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from support.checkout import ROOT
from support.shipped_examples import EXPECTED, alike

from layette.engine import Assessment, load_pack
from layette.engine.pack.written.yaml_nodes import parse
from layette.mapping.answering import answer

PAGES = EXPECTED / "first-tries"
MOST_LINES, WIDTH = 70, 100


@cache
def tries() -> dict[str, dict[str, Any]]:
    text = (ROOT / "tests/examples/first_tries.yaml").read_text(encoding="utf-8")
    return {one["id"]: one for one in parse(text, "first_tries.yaml").data}


@cache
def answered(name: str) -> tuple[Assessment, str]:
    one = tries()[name]
    flat = {"born": "2026-06-01T08:00:00-05:00", "sex_at_birth": "female", "patient": f"Patient/{name}"}
    flat |= {key: one[key] for key in ("at", "findings", "history", "history_complete") if key in one}
    found = answer(flat, load_pack(), readers=("native",))
    return found.assessment, found.to_text(load_pack())


def places(found: Assessment) -> dict[str, set[str]]:
    """Return the targets by where they stand in the answer."""
    made = found.recommendations
    return {
        "now": {one.target for one in made if one.priority == "stat"},
        "day": {one.target for one in made if one.priority == "asap"},
        "later": {one.target for one in made if one.priority in ("urgent", "routine")},
        "judge": {one.target for one in found.to_judge},
        "chase": {one.target for one in found.to_chase},
        "wanted": {one.target for one in found.due if one.state != "later"},
    }


def test_there_are_thirty_of_them() -> None:
    assert len(tries()) >= 30
    assert {path.stem for path in PAGES.iterdir()} == set(tries())


@pytest.mark.parametrize("name", tries())
def test_what_must_stand_somewhere_stands_there(name: str) -> None:
    found = places(answered(name)[0])
    for place, targets in tries()[name]["must"].items():
        if place == "never":
            assert set(targets).isdisjoint(set().union(*found.values()))
        else:
            assert set(targets) <= found[place], (place, found)


@pytest.mark.parametrize("name", tries())
def test_the_page_is_the_one_that_is_kept(name: str, request: pytest.FixtureRequest) -> None:
    written = alike(answered(name)[1])
    lines = written.splitlines()
    assert len(lines) <= MOST_LINES
    assert max(map(len, lines)) <= WIDTH
    if request.config.getoption("--renew-examples"):
        PAGES.mkdir(exist_ok=True)
        (PAGES / f"{name}.txt").write_text(written, encoding="utf-8")
    assert written == (PAGES / f"{name}.txt").read_text(encoding="utf-8"), "see examples/README.md on how to renew it"
