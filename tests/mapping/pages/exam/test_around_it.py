"""What stands around the page: files, languages, a server that dies, other pages, the disk, the accessibility rules."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from support.browser import Server, against_accessibility, chromium, serving
from support.exam_desk import Desk, told
from support.shipped_examples import EXAMPLES

from layette.engine import load_pack
from layette.mapping.answering import answer
from layette.mapping.pages.exam.live import live

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]

VISITS = sorted(path.name for path in EXAMPLES.glob("*.json"))
BORN, AT = "2026-11-24T08:30", "2026-11-28T10:00"
OpenDesk = Callable[..., Desk]


def opened(desk: Desk, path: Path, earlier: bool = False) -> str:
    """Open a file on the page; return what the page says of it."""
    desk.page.evaluate("() => { document.getElementById('said').textContent = ''; }")
    desk.page.locator(f"input[data-file={'earlier' if earlier else 'visit'}]").set_input_files(path)
    desk.page.wait_for_function("() => document.getElementById('said').textContent !== ''")
    desk.settled()
    return desk.text("#said")


def saved(desk: Desk, name: str, to: Path) -> Path:
    """Save the visit by one of the page's buttons."""
    with desk.page.expect_download() as download:
        desk.page.get_by_role("button", name=name, exact=True).click()
    download.value.save_as(to)
    assert "basil" not in download.value.suggested_filename
    return to


@pytest.mark.parametrize("name", VISITS)
def test_open_save_and_open_again_gives_the_same_answer(open_desk: OpenDesk, name: str, tmp_path: Path) -> None:
    first = open_desk()
    opened(first, EXAMPLES / name)
    asked = told(live(answer((EXAMPLES / name).read_bytes(), load_pack()).assessment, load_pack()))
    assert told(first.answer) == asked
    for button, end in (("Save as a file", "json"), ("Save as FHIR", "fhir.json")):
        again = open_desk()
        opened(again, saved(first, button, tmp_path / f"kept.{end}"))
        if button == "Save as a file" or not first.visit().get("history", {}).keys() - {"findings"}:
            assert told(again.answer) == asked, button
        else:
            assert "Orders" in first.text("#said")


def test_an_earlier_visit_stands_beside_the_finding_with_its_day(desk: Desk, tmp_path: Path) -> None:
    before = {
        "born": "2026-11-24T08:30:00-06:00",
        "at": "2026-11-26T09:00:00-06:00",
        "sex_at_birth": "female",
        "findings": {"weight": {"value": "3.150", "unit": "kg"}, "red_reflex.left": "present"},
    }
    path = tmp_path / "before.json"
    path.write_text(json.dumps(before))
    desk.head(BORN, AT, "female")
    assert "2 recordings" in opened(desk, path, earlier=True)
    assert "0 recordings" in opened(desk, path, earlier=True)  # the same file again brings nothing twice
    assert len(desk.visit()["history"]["findings"]["weight"]) == 1
    desk.page.locator("[data-step=growth]").click()
    assert "3.150 kg" in desk.text("#f-weight .earlier")
    assert "Nov" in desk.text("#f-weight .earlier")
    assert desk.page.locator("#f-weight input").input_value() == ""
    assert desk.visit()["history"]["findings"]["weight"][0]["time"] == before["at"]
    desk.page.locator("[data-step=eyes]").click()
    assert "Left: present" in desk.text("#f-red_reflex .earlier")
    assert "right" not in desk.text("#f-red_reflex .earlier").lower()


def test_a_file_of_another_baby_is_not_put_beside(desk: Desk, tmp_path: Path) -> None:
    desk.head(BORN, AT, "female")
    path = tmp_path / "other.json"
    path.write_text(json.dumps({"born": "2026-11-20", "at": "2026-11-26T09:00:00-06:00", "findings": {}}))
    assert "another day" in opened(desk, path, earlier=True)


def test_spanish(desk: Desk) -> None:
    desk.head(BORN, AT, "female")
    desk.page.get_by_label("Language").select_option("es")
    assert desk.page.locator("html").get_attribute("lang") == "es"
    desk.page.locator("[data-step=eyes]").click()
    assert "Ojos" in desk.text("#title")
    assert "Reflejo rojo" in desk.text("#f-red_reflex")
    desk.touch("#f-red_reflex .name")
    desk.touch("#f-red_reflex [data-side=left][data-value=white]")
    desk.settled()
    assert "Ahora:" in desk.verdict()
    assert "están en inglés" in desk.text("#answer .full")
    english = desk.page.locator("#answer .act").first
    assert english.get_attribute("lang") == "en"


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_rule_of_accessibility_is_broken(open_desk: OpenDesk, width: int, scheme: str) -> None:
    desk = open_desk(width=width, color_scheme=scheme)
    found = against_accessibility(desk.page)
    opened(desk, EXAMPLES / "jaundiced-sleepy-day-4.json")
    for step in ("eyes", "vital-signs", "alone"):
        if width < 1000:
            desk.page.locator(".where").click()
        desk.page.locator(f"[data-step={step}]").click()
        desk.page.locator(".finding button.name").first.click()
        found += against_accessibility(desk.page)
    if width < 1000:
        desk.page.locator(".verdict").click()
        found += against_accessibility(desk.page)
    assert found == []


@pytest.mark.parametrize("width", [360, 1280])
def test_targets_are_large_enough_for_a_thumb(open_desk: OpenDesk, width: int) -> None:
    desk = open_desk(width=width)
    opened(desk, EXAMPLES / "jaundiced-sleepy-day-4.json")
    script = """all => all.filter(e => e.offsetParent && !e.closest('.unseen') && e.type !== 'checkbox')
        .map(e => [e.className || e.tagName, e.getBoundingClientRect()])
        .filter(([, r]) => r.height < 38 || r.width < 44).map(([n, r]) => `${n} ${r.width}x${r.height}`)"""
    desk.page.locator(".finding button.name").first.click()
    assert desk.page.locator(".work button, .work input, .work select, .answer button").evaluate_all(script) == []


def test_no_request_leaves_the_page_s_own_origin(desk: Desk, server: Server) -> None:
    opened(desk, EXAMPLES / "jaundiced-sleepy-day-4.json")
    desk.page.locator("[data-step=eyes]").click()
    assert desk.asked
    assert [url for url in desk.asked if not url.startswith(f"{server.url}/")] == []


def test_a_server_that_is_killed_and_started_again_loses_nothing(browser: Browser, tmp_path: Path) -> None:
    with serving(tmp_path) as own:
        desk = Desk(browser, own.url)
        desk.head(BORN, AT, "female")
        desk.settled()
        own.kill()
        desk.page.locator("[data-step=vital-signs]").click()
        desk.page.locator("[data-number=temperature]").fill("38.5")
        desk.press("Enter")
        desk.page.get_by_text("Layette is not reached").wait_for()
        assert desk.page.locator("[data-number=temperature]").input_value() == "38.5"
        own.start()
        answered = desk.settled()
        assert any(one["priority"] == "stat" for group in answered["groups"] for one in group["items"])
        assert desk.page.get_by_text("Layette is not reached").count() == 0
        desk.close()


def test_late_answers_are_dropped(desk: Desk) -> None:
    held: list[Any] = []

    def slow(route: Any) -> None:
        if not held:
            held.append(route)
        else:
            route.continue_()

    desk.head(BORN, AT, "female")
    desk.settled()
    desk.page.route("**/assess*", slow)
    desk.page.locator("[data-step=vital-signs]").click()
    desk.page.locator("[data-number=temperature]").fill("36.9")
    desk.press("Enter")
    desk.page.wait_for_timeout(200)
    desk.page.locator("[data-number=temperature]").fill("38.5")
    desk.press("Enter")
    now = told(desk.settled())
    held[0].continue_()
    desk.page.wait_for_timeout(1500)
    assert told(desk.settled()) == now
    assert "Now:" in desk.verdict()


def test_twenty_pages_at_once_each_get_their_own_answer(open_desk: OpenDesk) -> None:
    desks = [open_desk() for _ in range(20)]
    for k, desk in enumerate(desks):
        desk.page.evaluate(
            """(hot) => import('/assets/kept.js').then((kept) => {
                const seen = { day: '2026-11-28', time: '10:00' };
                Object.assign(kept.visit, seen, { bornDay: '2026-11-24', bornTime: '08:30' });
                kept.record('temperature', '', { value: hot ? '38.5' : '36.9', unit: 'Cel' });
            })""",
            k % 2 == 0,
        )
    for k, desk in enumerate(desks):
        grave = any(one["priority"] == "stat" for group in desk.settled()["groups"] for one in group["items"])
        assert grave == (k % 2 == 0)


def test_nothing_that_was_entered_lies_on_the_disk_afterwards(browser: Browser, server: Server, tmp_path: Path) -> None:
    profile, odd = tmp_path / "profile", "37.123456"
    context = browser.browser_type.launch_persistent_context(profile, executable_path=chromium(), args=["--no-sandbox"])
    page = context.new_page()
    page.goto(server.url)
    page.locator("#head-bornDay").fill("2026-11-24")
    page.locator("[data-step=vital-signs]").click()
    page.locator("[data-number=temperature]").fill(odd)
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.documentElement.dataset.drawn === document.documentElement.dataset.asked")
    assert page.evaluate("() => localStorage.length + sessionStorage.length") == 0
    context.close()
    files = [path for path in profile.rglob("*") if path.is_file()]
    assert files
    spelt = (odd.encode(), odd.encode("utf-16-le"))
    assert [str(path) for path in files if any(one in path.read_bytes() for one in spelt)] == []


def test_a_birth_across_a_clock_change_is_sent_with_the_offset_of_its_day(open_desk: OpenDesk) -> None:
    desk = open_desk()
    desk.head("2026-10-31T23:30", "2026-11-03T10:00", "female")
    desk.settled()
    assert desk.sent[-1]["born"] == "2026-10-31T23:30:00-05:00"
    assert desk.sent[-1]["at"] == "2026-11-03T10:00:00-06:00"


def test_print_shows_the_report_that_the_server_makes_and_not_the_form(desk: Desk) -> None:
    asked: list[str] = []

    def made(route: Any) -> None:
        asked.append(route.request.post_data)
        route.fulfill(body="<!doctype html><title>r</title><h1>The report</h1>", content_type="text/html")

    desk.head(BORN, AT, "female")
    desk.settled()
    desk.page.route("**/report", made)
    desk.page.get_by_role("button", name="Report to print").click()
    frame = desk.page.frame_locator("dialog iframe")
    assert frame.locator("h1").inner_text() == "The report"
    assert json.loads(asked[0])["born"].startswith("2026-11-24T08:30")
    desk.page.get_by_role("button", name="Close").click()
    assert desk.page.locator("dialog").count() == 0
