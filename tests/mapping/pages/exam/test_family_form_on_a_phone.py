"""The form before the visit in a browser: filled in, saved as a file, and opened on the exam page as told."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from support.browser import Server, against_accessibility
from support.exam_desk import Desk

from layette.engine import load_pack
from layette.mapping.pages.family_form import family_form

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = [pytest.mark.browser, pytest.mark.slow]

OpenDesk = Callable[..., Desk]


def filled(page: Page, to: Path) -> dict[str, Any]:
    """Fill in a few answers and save them; return what the file holds."""
    page.locator("#born").fill("2026-11-24")
    page.locator("[name=feeding_type][value=mixed]").check()
    page.locator("#q-wet_diapers").fill("4")
    page.locator("#q-formula_per_feed").fill("2")
    page.locator("[data-finding=formula_per_feed] select").select_option("[foz_us]")
    page.locator("[name=housing][data-absent]").check()
    page.locator("[data-finding=family_questions] textarea").fill("May we bathe her?")
    with page.expect_download() as download:
        page.locator("button[type=submit]").click()
    download.value.save_as(to)
    return dict(json.loads(to.read_text("utf-8")))


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("query", ["", "?language=es", "?apart=true"])
def test_a_form_breaks_no_rule_of_accessibility_and_fits(
    browser: Browser, server: Server, query: str, width: int
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 800})
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on(
        "console", lambda one: errors.append(one.text) if one.type == "error" and "favicon" not in one.text else None
    )
    page.goto(f"{server.url}/form{query}")
    assert against_accessibility(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = """all => all.filter(e => e.offsetParent).map(e => e.getBoundingClientRect())
        .filter(r => r.height < 44 || r.width < 44).length"""
    assert page.locator(".choices label, button, select, textarea, input[type=number], .day").evaluate_all(small) == 0
    assert [one for one in errors if "404" not in one] == []
    page.close()


def test_an_answer_opens_what_follows_and_calls_for_help(browser: Browser, server: Server) -> None:
    page = browser.new_page()
    page.goto(f"{server.url}/form")
    assert not page.locator("[data-finding=formula_mixing]").is_visible()
    before = page.locator("#state").inner_text()
    page.locator("[name=feeding_type][value=formula_only]").check()
    assert page.locator("[data-finding=formula_mixing]").is_visible()
    assert page.locator("#state").inner_text() != before
    page.locator("[name=vomiting][value=green]").check()
    assert "911" in page.locator("[data-finding=vomiting] .callnow").inner_text()
    page.locator("[name=vomiting][value=none]").check()
    assert not page.locator("[data-finding=vomiting] .callnow").is_visible()
    page.close()


def test_without_a_network_the_page_by_itself_gives_the_same_file(browser: Browser, tmp_path: Path) -> None:
    (tmp_path / "form.html").write_text(family_form(load_pack()), "utf-8")
    context = browser.new_context(offline=True)
    page = context.new_page()
    page.goto((tmp_path / "form.html").as_uri())
    made = filled(page, tmp_path / "told.json")
    assert made["layette_told"] == 1
    assert made["born"] == "2026-11-24"
    assert made["findings"] == {
        "feeding_type": {"value": "mixed", "reported": True},
        "formula_per_feed": {"value": "2", "unit": "[foz_us]", "reported": True},
        "wet_diapers": {"value": "4", "unit": "/d", "reported": True},
        "housing": {"absent": "asked-declined", "reported": True},
        "family_questions": {"value": "asked", "text": "May we bathe her?", "reported": True},
    }
    assert page.evaluate("() => localStorage.length + sessionStorage.length") == 0
    context.close()


def test_answers_stand_on_the_exam_page_as_told_beside_what_was_examined(
    browser: Browser, server: Server, open_desk: OpenDesk, tmp_path: Path
) -> None:
    page = browser.new_page(timezone_id="America/Chicago")
    page.goto(f"{server.url}/form")
    made = filled(page, tmp_path / "told.json")
    page.close()
    (tmp_path / "told.json").write_text(json.dumps(made | {"at": "2026-11-28T08:00:00-06:00"}), "utf-8")

    desk = open_desk()
    desk.head("2026-11-24T08:30", "2026-11-28T10:00", "female")
    desk.page.evaluate(
        "() => import('/assets/kept.js').then((m) => m.record('wet_diapers', '', { value: '6', unit: '/d' }))"
    )
    for _ in range(2):
        desk.page.evaluate("() => { document.getElementById('said').textContent = ''; }")
        desk.page.locator("input[data-file=told]").set_input_files(tmp_path / "told.json")
        desk.page.wait_for_function("() => document.getElementById('said').textContent !== ''")
    desk.settled()
    visit = desk.visit()
    assert visit["born"] == "2026-11-24T08:30:00-06:00"
    assert [one.get("reported", False) for one in visit["findings"]["wet_diapers"]] == [False, True]
    for name, item in made["findings"].items():
        told = [one for one in visit["findings"][name] if one.get("reported")]
        assert told == [item | {"time": "2026-11-28T08:00:00-06:00"}], name
    assert desk.statuses[-1] == 200
    desk.page.locator("[data-step=family]").click()
    assert "May we bathe her?" in desk.text("#f-family_questions .theirs")


def take_in(desk: Desk, content: dict[str, Any], to: Path) -> str:
    """Take a file in as the family's answers; return what the page says of it."""
    to.write_text(json.dumps(content), "utf-8")
    desk.page.evaluate("() => { document.getElementById('said').textContent = ''; }")
    desk.page.locator("input[data-file=told]").set_input_files(to)
    desk.page.wait_for_function("() => document.getElementById('said').textContent !== ''")
    return desk.text("#said")


def test_the_exam_page_leads_to_the_form_and_keeps_its_questions_in_sight_until_answered(
    desk: Desk, tmp_path: Path
) -> None:
    link = desk.page.get_by_role("link", name="Form for the family", exact=True)
    assert link.get_attribute("href") == "/form?language=en"
    assert desk.page.request.get(f"{desk.page.url}form?language=en").ok
    desk.head("2026-11-24T08:30", "2026-11-28T10:00", "female")
    words = "May we bathe her?"
    told = {
        "family_questions": {"value": "asked", "text": words},
        "family_sees_jaundice": {"value": "no"},
    }
    answers = {"layette_told": 1, "at": "2026-11-28T08:00:00-06:00", "findings": told}
    assert "2 answers" in take_in(desk, answers, tmp_path / "told.json")
    assert all(one[0]["reported"] for one in desk.visit()["findings"].values())
    for step in ("eyes", "hips-limbs"):
        desk.page.locator(f"[data-step={step}]").click()
        assert words in desk.text("#asks")
    desk.page.locator("[data-step=family]").click()
    desk.page.get_by_role("button", name="Answered", exact=True).click()
    assert desk.page.locator("#asks").is_hidden()
    assert desk.visit()["findings"]["family_questions"] == [{"value": "answered", "text": words}]


def test_what_the_examiner_sees_stands_beside_what_the_family_told(desk: Desk, tmp_path: Path) -> None:
    desk.head("2026-11-24T08:30", "2026-11-28T10:00", "female")
    answers = {"layette_told": 1, "at": "2026-11-28T08:00:00-06:00", "findings": {"vomiting": {"value": "spit_up"}}}
    take_in(desk, answers, tmp_path / "told.json")
    desk.page.locator(f"[data-step={desk.place_of('vomiting')}]").click()
    assert "told by the family" in desk.text("#f-vomiting .told")
    desk.touch("#f-vomiting .mark-place")
    both = desk.visit()["findings"]["vomiting"]
    assert [one.get("reported", False) for one in both] == [True, False]
    assert "told by the family" in desk.text("#f-vomiting .readings")
    desk.touch("#f-vomiting .mark-place")
    assert desk.visit()["findings"]["vomiting"] == both[:1]


def test_another_file_is_not_taken_in_as_answers(desk: Desk, tmp_path: Path) -> None:
    visit = {"born": "2026-11-24", "at": "2026-11-28T10:00:00-06:00", "findings": {"cry": "strong"}}
    assert "nothing was taken in" in take_in(desk, visit, tmp_path / "visit.json")
    assert desk.visit()["findings"] == {}
