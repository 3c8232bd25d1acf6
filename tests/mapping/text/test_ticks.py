"""The tick list: in the order of the examination, emergencies first within a step, at most 25 lines, nothing hidden."""

from __future__ import annotations

import re
from typing import Any

import pytest
from support.assessment_samples import assessment, question

from layette.engine.answer.shapes.detail import Question, Step
from layette.engine.answer.shapes.proposed import Due, Placed, Window
from layette.mapping.text.about import About
from layette.mapping.text.layout import Page
from layette.mapping.text.ticks import MOST, write

ABOUT = About(areas={"head": "Head", "eyes": "Eyes", "hips": "Hips"})


def step(area: str, *asked: Question, **changes: Any) -> Step:
    values = {"label": f"Look at the {area}", "worst": "stat", "rules": 1, "emergencies": 1}
    return Step(area=area, questions=asked, **(values | changes))


def ticked(*steps: Step, about: About = ABOUT, room: int = MOST, full: bool = False, **changes: Any) -> list[str]:
    page = Page(100, colour=False, full=full)
    write(page, assessment(steps=steps, **changes), about, 0, room)
    return page.lines


def test_steps_stand_in_the_order_of_the_examination_whatever_presses() -> None:
    lines = ticked(
        step("hips", question("ortolani", "Ortolani", emergencies=("a.b",))), step("head", question("sutures", "Seams"))
    )
    assert lines[0] == "TO EXAMINE (! could be an emergency; +n: n more, --all)"
    assert [line.split()[0] for line in lines[1:]] == ["Head", "Hips"]


def test_what_could_be_an_emergency_comes_first_within_a_step() -> None:
    [line] = ticked(step("eyes", question("lids", "Lids"), question("red_reflex", "Red reflex", emergencies=("a.b",))))[
        1:
    ]
    assert line.split("  ", 2)[2].strip() == "[ ]! Red reflex   [ ] Lids"


def test_both_sides_of_one_finding_are_one_tick_and_a_single_side_is_named() -> None:
    sides = [question("red_reflex", f"Red reflex, {side}", side=side) for side in ("left", "right")]
    assert ticked(step("eyes", *sides))[1].endswith("[ ] Red reflex")
    assert ticked(step("eyes", sides[1]))[1].endswith("[ ] Red reflex, right")


def test_what_was_tried_says_why_it_is_open() -> None:
    tried = question("red_reflex", "Red reflex (glow)", state="attempted", reason="asked-declined")
    assert ticked(step("eyes", tried))[1].endswith("[ ] Red reflex (tried: declined)")
    loose = question("jaundice", "Yellow color", state="too loose", reason="visible")
    assert ticked(step("eyes", loose))[1].endswith("[ ] Yellow color (not exact enough: visible)")


def test_a_step_of_which_nothing_was_recorded_is_one_line() -> None:
    asked = [question(f"f{k}", f"Finding {k}", emergencies=("a.b",) if k == 3 else ()) for k in range(9)]
    about = About(areas=ABOUT.areas, begun=frozenset({"head"}))
    [line] = ticked(step("eyes", *asked, label="Look at the eyes"), about=about)[1:]
    assert line.endswith("[ ]! all of it: look at the eyes")
    assert "all of it" not in "\n".join(ticked(step("head", *asked), about=about))


def test_results_that_nobody_ordered_are_not_on_the_list() -> None:
    about = About(areas=ABOUT.areas, awaited=("albumin",))
    albumin = question("albumin", "Albumin in serum")
    assert ticked(step("eyes", albumin), about=about) == []
    pending = albumin.model_copy(update={"state": "attempted", "reason": "temp-unknown"})
    assert ticked(step("eyes", pending), about=about)[1].endswith("Albumin in serum (tried: not yet known)")


def test_a_result_that_was_ordered_is_on_the_list() -> None:
    about = About(areas=ABOUT.areas, awaited=("bloodspot",))
    spot, order = question("bloodspot", "Blood spot"), assessment().recommendations[0]
    placed = order.model_copy(update={"target": "spot_test", "placed": Placed(status="active")})
    due = Due(
        finding="bloodspot", target="spot_test", kind="order", said_not_done=False, label="Blood spot", rule="a.b",
        window=Window(text="x"), state="due", priority="routine", because="Because.", sources=(),
    )  # fmt: skip
    assert ticked(step("eyes", spot), about=about, standing=(placed,), due=(due,))[1].endswith("[ ] Blood spot")


def test_what_matters_only_after_something_else_waits_but_never_an_emergency() -> None:
    first = question("bilirubin", "Bilirubin", rules=("a.b", "c.d"), settles=("a.b", "c.d"))
    second = question("g6pd", "G6PD", rules=("c.d",), settles=())
    assert "G6PD" not in "\n".join(ticked(step("eyes", first, second)))
    pressing = second.model_copy(update={"emergencies": ("c.d",)})
    assert "[ ]! G6PD" in "\n".join(ticked(step("eyes", first, pressing)))
    assert "G6PD" in "\n".join(ticked(step("eyes", first, second), full=True))


@pytest.mark.parametrize("emergencies", [0, 1, 7, 40])
@pytest.mark.parametrize("steps", [1, 12, 22])
def test_the_list_has_at_most_25_lines_and_counts_what_it_leaves_out(steps: int, emergencies: int) -> None:
    areas = {f"a{k}": f"Area number {k}" for k in range(steps)}
    asked = [
        question(f"f{k}", f"Something long to look at, number {k}", emergencies=("a.b",) if k < emergencies else ())
        for k in range(40)
    ]
    lines = ticked(*(step(area, *asked) for area in areas), about=About(areas=areas))
    assert len(lines) <= MOST, f"{len(lines)} lines"
    text = "\n".join(lines[1:])
    left = [(int(all_), int(emergency or 0)) for all_, emergency in re.findall(r"\+(\d+)(?: \((\d+) !\))?", text)]
    assert text.count("[ ]") + sum(number for number, _ in left) == steps * 40
    assert text.count("[ ]!") + sum(number for _, number in left) == steps * emergencies
    assert all(name in text for name in areas.values())


def test_where_there_is_little_room_emergencies_keep_it_and_the_others_stand_by_name() -> None:
    areas = {"calm": "Calm", "eyes": "Eyes", "quiet": "Quiet"}
    steps = [
        step("calm", question("a", "Alpha"), worst="routine"),
        step("eyes", *(question(f"f{k}", f"Emergency number {k} here", emergencies=("a.b",)) for k in range(4))),
        step("quiet", question("b", "Beta"), worst="routine"),
    ]
    lines = ticked(*steps, about=About(areas=areas), room=5)
    assert "\n".join(lines).count("[ ]! Emergency number") == 4
    assert lines[-1].split() == ["Also", "open", "(--all)", "Calm", "Quiet"]


def test_a_full_list_names_every_finding_and_how_pressing_it_is() -> None:
    asked = [question(f"f{k}", f"Finding {k}", worst="urgent") for k in range(60)]
    text = "\n".join(ticked(step("eyes", *asked), full=True))
    assert all(f"[ ] Finding {k}; worst urgent" in text for k in range(60))


def test_nothing_open_is_no_list() -> None:
    assert ticked() == []
