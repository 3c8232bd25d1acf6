"""The page at the bedside: what a touch records, what it leaves alone, what is said beside it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from support.exam_desk import Desk

pytestmark = [pytest.mark.browser, pytest.mark.slow]

BORN, AT = "2026-11-24T08:30", "2026-11-28T10:00"


def begun(desk: Desk, sex: str = "female") -> Desk:
    """Fill in who is seen, and wait for the first answer."""
    desk.head(BORN, AT, sex)
    desk.settled()
    return desk


def findings(desk: Desk) -> dict[str, Any]:
    """Return what the page holds of this visit."""
    return dict(desk.visit()["findings"])


def test_nothing_is_recorded_at_the_start_and_nothing_is_said_before_the_birth_is_known(desk: Desk) -> None:
    assert findings(desk) == {}
    assert desk.sent == []
    assert "when the baby was born" in desk.verdict()
    begun(desk)
    assert findings(desk) == {}
    assert "Nothing recorded yet" in desk.verdict()
    assert set(desk.page.locator(".finding").evaluate_all("all => all.map(e => e.dataset.state)")) == {"none"}


def test_a_mark_records_as_expected_on_both_sides_and_takes_back(desk: Desk) -> None:
    begun(desk)
    desk.step("eyes")
    desk.touch("#f-red_reflex .mark-place")
    assert findings(desk) == {"red_reflex.both": [{"value": "present"}]}
    desk.touch("#f-red_reflex .mark-place")
    assert findings(desk) == {}


def test_an_unset_side_says_so_and_is_never_filled(desk: Desk) -> None:
    begun(desk)
    desk.step("eyes")
    desk.touch("#f-red_reflex .name")
    desk.touch("#f-red_reflex [data-side=left][data-value=white]")
    assert findings(desk) == {"red_reflex.left": [{"value": "white"}]}
    assert "Right: not examined" in desk.text("#f-red_reflex .told")
    desk.settled()
    assert "Ophthalmologist" in desk.verdict()
    assert "Ophthalmologist" in desk.page.locator("#at-once").inner_text()


def test_the_areas_button_fills_what_the_pack_allows_and_takes_back_only_its_own(desk: Desk) -> None:
    begun(desk)
    desk.step("eyes")
    desk.touch("#f-conjunctiva .name")
    desk.touch("#f-conjunctiva [data-side=right][data-value=red]")
    button = desk.page.locator("[data-system=eyes_examination]")
    assert "not red reflex, glow of both eyes compared" in button.inner_text()
    number = int("".join(c for c in button.inner_text().split(" as expected")[0] if c.isdigit()))
    desk.touch("[data-system=eyes_examination]")
    filled = {name: one for name, one in findings(desk).items() if one[0].get("charted_by") == "eyes_examination"}
    assert len(filled) == number
    assert not any(name.startswith(("red_reflex", "conjunctiva")) for name in filled)
    desk.touch("#f-cornea .name")
    desk.touch("#f-cornea [data-side=left][data-value=cloudy]")
    desk.touch("[data-system=eyes_examination]")
    left = findings(desk)
    assert left["conjunctiva.right"] == [{"value": "red"}]
    assert left["cornea.left"] == [{"value": "cloudy"}]
    assert [name for name, one in left.items() if "charted_by" in one[0] and not name.startswith("cornea")] == []


def test_36_point_8_typed_slowly_is_never_sent_as_3_or_36(desk: Desk) -> None:
    begun(desk)
    desk.step("vital-signs")
    desk.row("temperature")
    desk.until("ArrowRight", "e.dataset.number === 'temperature'")
    for key in "36.8":
        desk.press(key)
        desk.page.wait_for_timeout(120)
    desk.press("Enter")
    desk.settled()
    sent = [visit["findings"]["temperature"][0]["value"] for visit in desk.sent if "temperature" in visit["findings"]]
    assert set(sent) == {"36.8"}


def test_arrows_walk_a_row_and_record_nothing(desk: Desk) -> None:
    begun(desk)
    desk.step("general")
    desk.row("colour")
    desk.until("ArrowRight", "e.classList.contains('name')")
    desk.press("Enter")
    for _ in range(12):
        desk.press("ArrowRight")
    for _ in range(12):
        desk.press("ArrowLeft")
    assert findings(desk) == {}


def test_a_field_that_is_wrong_says_so_beside_itself_and_the_rest_is_answered(desk: Desk) -> None:
    begun(desk)
    desk.step("growth")
    desk.number("weight", "33", "kg")
    desk.settled()
    desk.step("vital-signs")
    desk.number("temperature", "38.5", "Cel")
    answer = desk.settled()
    assert any(one["priority"] == "stat" for group in answer["groups"] for one in group["items"])
    desk.step("growth")
    assert "33 kg" in desk.text("#w-weight")
    assert desk.page.locator("[data-number=weight]").input_value() == "33"
    assert desk.page.locator("[data-number=weight]").get_attribute("aria-invalid") == "true"
    assert "1 entry is wrong" in desk.verdict()
    desk.number("weight", "3.3", "kg")
    desk.settled()
    assert desk.page.locator("#w-weight").is_hidden()
    assert "weight" in desk.sent[-1]["findings"]


def test_both_sets_are_shown_while_the_sex_is_not_known(desk: Desk) -> None:
    begun(desk, "unknown")
    desk.step("diaper-area")
    assert "cannot be judged" in desk.text("#unsure")
    assert desk.page.locator("#f-testis").is_visible()
    desk.touch("#f-testis .name")
    desk.touch("#f-testis [data-side=left][data-value=not_felt]")
    desk.touch("#f-testis [data-side=right][data-value=not_felt]")
    assert findings(desk) == {"testis.both": [{"value": "not_felt"}]}


def test_what_comes_up_after_another_finding_is_shown_once_that_is_recorded(desk: Desk) -> None:
    begun(desk)
    desk.step("chest-heart")
    assert desk.page.locator("#f-murmur_grade").is_hidden()
    desk.touch("#f-murmur .name")
    desk.touch("#f-murmur [data-value=heard]")
    assert desk.page.locator("#f-murmur_grade").is_visible()


def test_private_matters_stay_in_their_room(desk: Desk) -> None:
    begun(desk)
    desk.page.locator("[data-step=alone]").click()
    desk.touch("#f-harm_thoughts_infant .name")
    desk.page.locator("#f-harm_thoughts_infant .body button.value").last.wait_for()
    desk.touch("#f-harm_thoughts_infant [data-value=present]")
    answer = desk.settled()
    private = [one["label"] for group in answer["groups"] for one in group["items"] if one.get("private")]
    assert private
    assert any(label in desk.text("#answer") for label in private)
    desk.page.locator("[data-step=eyes]").click()
    everything = desk.page.locator("body").evaluate("e => e.innerText").lower()
    assert "to discuss alone" in everything
    for word in (*private, "harm", "mood", "depress", "psychos", "violence", "suicid", "mental"):
        assert word.lower() not in everything


def test_the_order_of_work_is_a_choice_and_both_lead_past_everything(desk: Desk) -> None:
    begun(desk)
    desk.step("alone")

    def walked() -> tuple[list[str], set[str]]:
        names = desk.page.locator(".joint").evaluate_all("all => all.map(e => e.dataset.step)")
        seen: set[str] = set()
        for name in names:
            desk.page.locator(f"[data-step={name}]").click()
            seen |= set(
                desk.page.locator(".finding, [data-seen]").evaluate_all(
                    "all => all.map(e => e.dataset.finding || e.dataset.seen)"
                )
            )
        return names, seen

    usual, all_of_it = walked()
    desk.page.get_by_label("Order of work").select_option("quiet_first")
    quiet, as_much = walked()
    assert as_much == all_of_it
    assert quiet.index("quiet") < quiet.index("general") < quiet.index("last")
    assert "quiet" not in usual
    desk.page.locator("[data-step=quiet]").click()
    assert desk.page.locator("#f-murmur").is_visible()


def test_the_first_control_stands_high_on_a_narrow_page(open_desk: Callable[..., Desk]) -> None:
    desk = begun(open_desk(width=360, height=740))
    desk.page.locator(".who summary").click()
    desk.touch(".where")
    desk.touch("[data-step=eyes]")
    first = desk.page.locator(".work button").first.bounding_box()
    assert first is not None
    assert first["y"] < 200
    wide = desk.page.evaluate("() => document.documentElement.scrollWidth")
    assert wide <= 360


def test_every_reading_of_today_is_shown_with_its_hour_and_can_be_changed_and_taken_away(desk: Desk) -> None:
    begun(desk)
    desk.page.evaluate("""() => import('/assets/kept.js').then((kept) => kept.take({
        born: '2026-11-24T08:30:00-06:00', at: '2026-11-28T10:00:00-06:00', sex: 'female', rest: {}, earlier: [],
        records: [['13.4', '09:30'], ['12.1', '08:00']].map(([value, time]) => ({ finding: 'serum_bilirubin', side: '',
            what: { value, unit: 'mg/dL', fields: { time: `2026-11-28T${time}:00-06:00` } } })) }))""")
    desk.settled()
    assert len(desk.sent[-1]["findings"]["serum_bilirubin"]) == 2
    desk.page.locator(f"[data-step={desk.place_of('serum_bilirubin')}]").click()
    field, row = desk.page.locator("[data-number=serum_bilirubin]"), "#f-serum_bilirubin"
    assert field.input_value() == "13.4"
    assert "09:30" in desk.text(f"{row} .told")
    assert "12.1 mg/dL, 08:00" in desk.text(f"{row} .readings")
    desk.page.locator(f"{row} .readings button", has_text="Change").click()
    assert field.input_value() == "12.1"
    field.fill("12.4")
    desk.press("Enter")
    assert [one["value"] for one in findings(desk)["serum_bilirubin"]] == ["13.4", "12.4"]
    assert [one["time"][11:16] for one in findings(desk)["serum_bilirubin"]] == ["09:30", "08:00"]
    desk.page.locator(f"{row} .readings button", has_text="Remove").click()
    assert [one["value"] for one in findings(desk)["serum_bilirubin"]] == ["12.4"]
    assert desk.page.locator(f"{row} .readings li").count() == 0


def test_an_earlier_reading_of_today_that_is_not_as_expected_is_not_hidden_by_a_later_one(desk: Desk) -> None:
    begun(desk)
    desk.step("jaundice")
    desk.touch("#f-jaundice .name")
    desk.touch("#f-jaundice [data-value=legs]")
    desk.another("jaundice")
    desk.touch("#f-jaundice [data-value=none]")
    assert desk.page.locator("#f-jaundice").get_attribute("data-state") == "unexpected"
    assert "legs" in desk.text("#f-jaundice .readings").lower()


def test_a_side_that_was_seen_by_itself_stays_when_the_area_is_taken_back_and_the_other_goes(desk: Desk) -> None:
    begun(desk)
    desk.step("eyes")
    button = desk.page.locator("[data-system=eyes_examination]")
    button.click()
    desk.touch("#f-cornea .name")
    desk.touch("#f-cornea [data-side=right][data-value=cloudy]")
    button.click()
    assert findings(desk) == {"cornea.right": [{"value": "cloudy"}]}
