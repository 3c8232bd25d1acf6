"""What is entered wrongly: it silences nothing beside it, stays on the page and in the file, and is told of."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from support.exam_desk import Desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]

OpenDesk = Callable[..., Desk]
BORN, AT = "2026-11-24T08:30:00-06:00", "2026-11-28T10:00:00-06:00"


def opened(desk: Desk, path: Path, findings: dict[str, Any], **more: Any) -> str:
    """Open a visit on the page; return what the page says of it."""
    visit = {"born": BORN, "at": AT, "sex_at_birth": "female", "findings": findings} | more
    path.write_text(json.dumps(visit))
    return chosen(desk, path)


def chosen(desk: Desk, path: Path) -> str:
    nothing_said(desk)  # of a file before
    desk.page.locator("input[data-file=visit]").set_input_files(path)
    desk.page.wait_for_function("() => document.getElementById('said').textContent !== ''")
    desk.settled()
    return desk.text("#said")


def nothing_said(desk: Desk) -> None:
    desk.page.evaluate("() => { document.getElementById('said').textContent = ''; }")


def saved(desk: Desk, name: str, to: Path) -> str:
    nothing_said(desk)
    with desk.page.expect_download() as download:
        desk.page.get_by_role("button", name=name, exact=True).click()
    download.value.save_as(to)
    desk.page.wait_for_function("() => document.getElementById('said').textContent !== ''")
    return desk.text("#said")


def test_a_wrong_reading_does_not_silence_the_pressing_one_beside_it(desk: Desk, tmp_path: Path) -> None:
    opened(desk, tmp_path / "visit.json", {"temperature": {"value": "38.6", "unit": "Cel"}})
    pressing = desk.verdict().partition(".")[0]
    assert pressing.startswith("Now:")
    desk.page.locator("[data-step=vital-signs]").click()
    desk.page.locator("#f-temperature .name").click()
    desk.page.locator("#f-temperature summary").click()
    desk.page.locator("[data-another=temperature]").click()
    desk.page.locator("input[data-number=temperature]").fill("369")
    desk.page.locator("input[data-number=temperature]").press("Enter")
    desk.settled()
    assert desk.verdict().partition(".")[0] == pressing
    assert "1 entry is wrong" in desk.verdict()
    assert "369" in desk.text("#f-temperature .wrong")
    desk.page.locator("input[data-number=temperature]").fill("36.9")
    desk.page.locator("input[data-number=temperature]").press("Enter")
    desk.settled()
    assert "wrong" not in desk.verdict()
    assert [one["value"] for one in desk.visit()["findings"]["temperature"]] == ["38.6", "36.9"]


def test_what_is_wrong_is_saved_opened_again_and_told_of(open_desk: OpenDesk, tmp_path: Path) -> None:
    first, again = open_desk(), open_desk()
    found = {"temperature": {"value": "38.6", "unit": "Cel"}, "weight": {"value": "33", "unit": "kg"}}
    opened(first, tmp_path / "visit.json", found)
    assert "1 entry is wrong" in first.verdict()
    assert "not in it" not in saved(first, "Save as a file", tmp_path / "kept.json")
    assert "2 recordings" in chosen(again, tmp_path / "kept.json")
    assert again.verdict() == first.verdict()
    again.page.locator("[data-step=growth]").click()
    assert "33 kg" in again.text("#f-weight .wrong")
    assert "1 entry that is wrong is not in it" in saved(again, "Save as FHIR", tmp_path / "kept.fhir.json")
    again.page.get_by_role("button", name="Report to print").click()
    report = again.page.frame_locator("dialog iframe")
    assert "could not be read" in report.locator(".verdict").inner_text()
    assert "33" in report.locator("body").inner_text()


def test_what_was_found_weeks_later_is_not_of_this_visit(desk: Desk, tmp_path: Path) -> None:
    later = {"value": "38.6", "unit": "Cel", "time": "2026-12-20T10:00:00-06:00"}
    opened(desk, tmp_path / "visit.json", {"temperature": later})
    assert "1 entry is wrong" in desk.verdict()
    assert "until" not in desk.visit()


def test_a_visit_from_elsewhere_keeps_its_clock(open_desk: OpenDesk, tmp_path: Path) -> None:
    desk = open_desk(timezone_id="Asia/Tokyo")
    assert "UTC-06:00" in opened(desk, tmp_path / "visit.json", {"cry": "weak"})
    assert desk.page.locator("#head-time").input_value() == "10:00"
    desk.page.locator("#head-time").fill("11:00")
    desk.settled()
    assert desk.visit()["at"] == "2026-11-28T11:00:00-06:00"
    near = open_desk()
    assert "UTC" not in opened(near, tmp_path / "visit.json", {"cry": "weak"})


def test_a_day_that_is_yet_to_come_is_asked_about(desk: Desk) -> None:
    desk.page.locator("#head-bornDay").fill("2031-05-01")
    desk.page.locator("#head-day").fill("2031-05-03")
    desk.settled()
    assert "yet to come" in desk.text("#wrong-head")


def test_readings_of_one_moment_keep_their_order(desk: Desk, tmp_path: Path) -> None:
    found = {"barlow.both": "negative", "barlow.left": [{"value": "negative"}, {"value": "positive"}]}
    opened(desk, tmp_path / "visit.json", found)
    saved(desk, "Save as a file", tmp_path / "kept.json")
    chosen(desk, tmp_path / "kept.json")
    assert json.loads((tmp_path / "kept.json").read_text())["findings"] == desk.visit()["findings"]
    desk.page.locator("[data-step=hips-limbs]").click()
    assert "Left: positive" in desk.text("#f-barlow .told")


@pytest.mark.parametrize(
    ("more", "said"), [({"at": "2026-11-29T10:00:00-06:00"}, "later"), ({"sex_at_birth": "male"}, "sex")]
)
def test_a_file_that_is_no_earlier_visit_is_not_put_beside(
    desk: Desk, tmp_path: Path, more: dict[str, str], said: str
) -> None:
    opened(desk, tmp_path / "visit.json", {"temperature": {"value": "38.6", "unit": "Cel"}})
    before = desk.verdict()
    other = {"born": BORN, "at": "2026-11-26T10:00:00-06:00", "sex_at_birth": "female", "findings": {"cry": "weak"}}
    (tmp_path / "other.json").write_text(json.dumps(other | more))
    desk.page.locator("input[data-file=earlier]").set_input_files(tmp_path / "other.json")
    desk.page.wait_for_function("() => document.getElementById('said').textContent.startsWith('Not opened')")
    desk.settled()
    assert said in desk.text("#said")
    assert desk.verdict() == before
    assert "history" not in desk.visit()


def test_opening_another_visit_asks_before_it_takes_the_place_of_what_is_in_no_file(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "other.json").write_text(json.dumps({"born": BORN, "at": AT, "findings": {"cry": "weak"}}))
    desk.page.locator(f"[data-step={desk.place_of('colour')}]").click()
    desk.page.locator("#f-colour .mark-place").click()
    desk.page.once("dialog", lambda dialog: dialog.dismiss())
    assert "what is on the page stays" in chosen(desk, tmp_path / "other.json")
    assert [*desk.visit()["findings"]] == ["colour"]
    desk.page.evaluate("() => { document.getElementById('said').textContent = ''; }")
    desk.page.once("dialog", lambda dialog: dialog.accept())
    assert "1 recording" in chosen(desk, tmp_path / "other.json")
    assert [*desk.visit()["findings"]] == ["cry"]


def test_without_the_server_saving_and_printing_say_so(desk: Desk, tmp_path: Path) -> None:
    opened(desk, tmp_path / "visit.json", {"cry": "weak"})
    desk.page.route("**/report", lambda route: route.abort())
    desk.page.route("**/exam/fhir", lambda route: route.abort())
    for name, said in (("Report to print", "not reached"), ("Save as FHIR", "Not saved")):
        desk.page.get_by_role("button", name=name, exact=True).click()
        desk.page.get_by_text(said).wait_for()


@pytest.mark.parametrize("language", ["en", "es"])
def test_nothing_of_the_head_is_cut_on_a_phone(open_desk: OpenDesk, language: str) -> None:
    desk = open_desk(width=360, height=740)
    desk.page.get_by_label("Language").select_option(language)
    beyond = (
        "() => [...document.querySelectorAll('#who *')].filter((e) => e.getBoundingClientRect().right > 360).length"
    )
    assert desk.page.evaluate(beyond) == 0


def test_matters_to_discuss_alone_are_counted_beside_the_others(desk: Desk, tmp_path: Path) -> None:
    hers = {"harm_thoughts_infant": "present", "violence_at_home": "danger_now"}
    babys = {
        "work_of_breathing": "grunting",
        "vomiting": "green",
        "red_reflex.left": "white",
        "femoral_pulse.both": "absent",
    }
    opened(desk, tmp_path / "visit.json", babys)
    before = desk.verdict().partition(".")[0]
    assert "more" in before
    opened(desk, tmp_path / "visit.json", babys | hers)
    assert desk.verdict().startswith(before + "; ")
    assert "to discuss alone" in desk.verdict()


def test_that_an_entry_is_wrong_is_said_before_that_nothing_presses(desk: Desk, tmp_path: Path) -> None:
    """On a telephone two lines of the verdict are in sight."""
    opened(desk, tmp_path / "visit.json", {"temperature": {"value": "101.3", "unit": "Cel"}})
    assert desk.verdict().startswith("1 entry is wrong and not used. Nothing pressing in what was recorded.")


def test_what_came_along_and_was_not_understood_is_said_instead_of_that_nothing_presses(
    desk: Desk, tmp_path: Path
) -> None:
    opened(desk, tmp_path / "visit.json", {}, not_understood=[{"text": "Femoral pulses odd", "here": True}])
    assert desk.verdict().startswith("1 thing of this visit was not understood")


def test_a_step_with_something_recorded_in_it_is_begun(desk: Desk, tmp_path: Path) -> None:
    def untouched() -> int:
        found = re.search(r"(\d+) steps not begun", desk.verdict())
        return int(found[1]) if found else 0

    opened(desk, tmp_path / "empty.json", {})
    before = untouched()
    opened(desk, tmp_path / "visit.json", {"belly": "soft", "foot.left": "straight", "violence_at_home": "none"})
    assert untouched() == before - 2
    assert desk.page.locator("[data-step=belly-cord] .left").is_visible()
    assert not desk.page.locator("[data-step=alone] .left").is_visible()
