"""The README's pictures show the pages as they are: by their words, not by their pixels."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest
from support.browser import Server
from support.checkout import ROOT

from layette.engine.api import load_pack
from layette.mapping.answering import answer
from layette.mapping.pages.report import report

if TYPE_CHECKING:
    from playwright.sync_api import Browser

sys.path.insert(0, str(ROOT / "examples"))

import make_pictures

AGAIN = "make them again: python examples/make_pictures.py"


@pytest.mark.browser
@pytest.mark.slow
def test_the_pictures_of_the_readme_are_current(browser: Browser, server: Server) -> None:
    pack = load_pack()
    found = answer(make_pictures.VISIT.read_bytes(), pack, readers=["native"])
    exam = make_pictures.exam_page(browser.new_page(timezone_id="America/Chicago"), server.url)
    told = make_pictures.report(browser.new_page(), report(found.assessment, pack, found.visit))
    for name, words in (("exam-page", exam), ("report", told)):
        kept = (make_pictures.PICTURES / f"{name}.txt").read_text("utf-8")
        assert words.split() == kept.split(), AGAIN


@pytest.mark.parametrize("name", ["exam-page", "report"])
def test_the_readme_shows_each_picture_and_says_what_is_on_it(name: str) -> None:
    readme = " ".join((ROOT / "README.md").read_text("utf-8").split())
    before = readme[: readme.index(f"](examples/pictures/{name}.png)")]
    assert len(before[before.rindex("![") :].split()) > 8
    assert (make_pictures.PICTURES / f"{name}.png").read_bytes().startswith(b"\x89PNG")
