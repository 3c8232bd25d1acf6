"""Make the README's pictures of the exam page and of the report, from the shipped examples, in a real browser.

    python examples/make_pictures.py

Needs the extras `serve`, `test` and `browser`, and a Chromium. Beside each picture the words that stand in it are kept,
and a test compares them with the page of today: letters differ in width from machine to machine, words do not.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # of the extra `browser`; a plain run of the tests imports this
    from playwright.sync_api import Page

ROOT = Path(__file__).resolve().parents[1]
PICTURES = ROOT / "examples/pictures"
VISIT = ROOT / "examples/jaundiced-sleepy-day-4.json"
STEP = "Jaundice"
"""The step of the examination that the picture shows."""

_WIDTH, _HEIGHT = 1280, 860
_REPORT = {"x": 80, "y": 0, "width": 1040, "height": 1180}
_DRAWN = "() => document.documentElement.dataset.drawn === document.documentElement.dataset.asked"


def exam_page(page: Page, url: str) -> str:
    """Open the example on the exam page that is served at ``url``; return the words of the step and of the answer."""
    page.goto(url)
    page.wait_for_selector("#title", state="attached")
    page.set_input_files("input[type=file] >> nth=0", str(VISIT))
    page.wait_for_selector(".answer h3")
    page.locator("nav, .spine").first.get_by_text(STEP, exact=True).click()
    page.wait_for_function(_DRAWN)
    page.wait_for_selector(f"h2:has-text('{STEP}')")
    return "\n".join(page.locator(part).inner_text() for part in ("main", ".answer")) + "\n"


def report(page: Page, html: str) -> str:
    """Show a report; return its words."""
    page.set_content(html)
    return page.locator("body").inner_text() + "\n"


def main() -> None:
    """Make both pictures, and keep their words."""
    sys.path.insert(0, str(ROOT / "tests"))
    from tempfile import TemporaryDirectory

    from support.browser import opened_browser, serving

    from layette import load_pack
    from layette.mapping.answering import answer
    from layette.mapping.pages.report import report as made

    PICTURES.mkdir(exist_ok=True)
    pack = load_pack()
    found = answer(VISIT.read_bytes(), pack, readers=["native"])
    with opened_browser() as browser, TemporaryDirectory() as folder, serving(Path(folder)) as server:
        page = browser.new_page(viewport={"width": _WIDTH, "height": _HEIGHT}, timezone_id="America/Chicago")
        words = exam_page(page, server.url)
        page.screenshot(path=PICTURES / "exam-page.png")
        (PICTURES / "exam-page.txt").write_text(words, encoding="utf-8")
        page = browser.new_page(viewport={"width": 1200, "height": 1200})
        words = report(page, made(found.assessment, pack, found.visit))
        page.screenshot(path=PICTURES / "report.png", clip=_REPORT)
        (PICTURES / "report.txt").write_text(words, encoding="utf-8")


if __name__ == "__main__":
    main()
