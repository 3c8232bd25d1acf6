"""The page of text: urgent things first, nothing wider than asked, nothing said by colour alone."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.assessment_samples import (
    assessment,
    question,
    reason,
    recheck,
    recommendation,
    topic,
)

from layette.engine.answer.parts.assessment import Answer, Concluded, Placed, Step, Window
from layette.mapping.text import render

HEADINGS = [
    "NOW (stat)",
    "THIS WEEK (urgent)",
    "DO NOT",
    "STILL OPEN",
    "NORMAL AT THIS AGE",
    "NOT EVALUATED",
    "MEASURES",
]


def flat(text: str) -> str:
    return " ".join(text.split())


def test_what_is_urgent_comes_first() -> None:
    lines = render(assessment()).splitlines()
    places = [lines.index(heading) for heading in HEADINGS]
    assert places == sorted(places)


def test_a_line_says_what_side_when_why_rule_and_source() -> None:
    said = flat(render(assessment()))
    assert "1. Refer: Ophthalmology, LEFT - by Wed 25 Nov, 10:00." in said
    assert (
        "An abnormal reflex can be a cataract or a tumour of the eye. (eyes.red-reflex-abnormal, reflex-2008)" in said
    )


def test_a_provisional_line_says_unless_and_memory_is_marked() -> None:
    said = flat(render(assessment()))
    assert "Provisional." in said
    assert "Unless recorded: Delivery by caesarean." in said
    assert "[memory]" in said


def test_the_three_groups_of_what_is_open() -> None:
    said = flat(render(assessment(), awaited=("pulse_oximetry",)))
    assert "Look at the eyes: Red reflex, right (attempted: not performed). Closes 2 questions" in said
    assert "2 questions, 1 emergency among them" in said
    assert "Results awaited - Blood spot: OVERDUE, act now (was due by Sun 22 Nov, 08:30)" in said
    assert "Guidance owed - Safe sleep; Car seat" in said


def test_awaited_findings_stand_under_results() -> None:
    step = Step(
        area="heart", label="Screen the saturation", worst="stat", rules=3, emergencies=3,
        questions=(question("pulse_oximetry.1.hand", "Pulse oximetry, hand"),),
    )  # fmt: skip
    said = flat(render(assessment(steps=(step,), due=()), awaited=("pulse_oximetry",)))
    assert "Results awaited - Pulse oximetry, hand (no result)" in said
    assert "Screen the saturation" not in said


def test_settled_and_unsettled_targets_are_counted() -> None:
    answers = (
        Answer(target="a", kind="refer", label="Cardiology", certain=None, possible=None, settled=True),
        Answer(target="b", kind="refer", label="Orthopedics", certain=None, possible="stat", settled=False),
    )
    said = flat(render(assessment(answers=answers)))
    assert "Settled as not needed: 1 of 2 targets. Still open: 1 target: Orthopedics." in said


def test_long_lists_are_cut_but_never_what_is_proposed() -> None:
    many = tuple(recommendation(label=f"Stat {k}") for k in range(20))
    later = tuple(recheck(label=f"Routine {k}", priority="routine") for k in range(20))
    topics = tuple(topic(f"t{k}", f"Topic {k}") for k in range(40))
    made = assessment(recommendations=(*many, *later), guidance=topics)
    short, full = render(made), render(made, full=True)
    assert all(f"Stat {k}," in flat(short) for k in range(20))
    assert all(f"Routine {k} " in flat(short) for k in range(20))
    assert "and 34 more (--all)" in short
    assert "more (--all)" not in full
    assert all(f"Topic {k}" in flat(full) for k in range(40))


def test_further_reasons_are_named() -> None:
    made = assessment(recommendations=(recommendation(reasons=(reason(), reason("eyes.other"))),))
    assert "Also: eyes.other" in render(made)
    assert "Also:" not in render(made, full=True)


def test_an_order_that_stands_and_a_missing_anchor_are_said() -> None:
    one = recommendation(
        placed=Placed(status="active", priority="urgent"), window=Window(text="soon", missing="time of birth")
    )
    said = flat(render(assessment(recommendations=(one,))))
    assert "Already on record as active, urgent." in said
    assert "because time of birth is not known" in said


def test_a_conclusion_names_its_rules_where_there_are_any() -> None:
    none = Concluded(id="danger_sign", label="danger sign", state="no", rules=())
    made = assessment(conclusions=(*assessment().conclusions, none))
    lines = [line.strip() for line in render(made, full=True).splitlines()]
    assert "- An eye is abnormal: yes (eyes.red-reflex-abnormal)" in lines
    assert "- danger sign: no" in lines


def test_colour_adds_nothing_but_colour() -> None:
    plain, coloured = render(assessment()), render(assessment(), colour=True)
    assert "\x1b" not in plain
    assert "\x1b[1;31m" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


def test_another_offset_or_year_is_named() -> None:
    window = Window(until="2027-01-02T08:00:00-05:00", text="later")
    assert "by Sat 2 Jan 2027, 08:00 (UTC-05:00)" in flat(render(assessment(recommendations=(recheck(window=window),))))


def test_nothing_decided_is_said() -> None:
    made = assessment(recommendations=(), steps=(), due=(), guidance=())
    assert "NOTHING TO REFER, ORDER OR RECHECK IS DECIDED" in render(made)
    assert "NOTHING IS STILL OPEN" in render(made)


def test_a_normal_visit_fits_about_one_screen() -> None:
    made = assessment(recommendations=(recheck(),), avoid=(), cannot_evaluate=(), warnings=(), choices=())
    assert len(render(made).splitlines()) < 40


def test_the_end_says_how_it_was_read_what_was_counted_and_the_caution() -> None:
    said = render(assessment(), counts="9 entries read: 9 used").splitlines()
    assert said[-2:] == ["9 entries read: 9 used", assessment().caution]
    assert "native and rete" in said[-3]


@pytest.mark.parametrize("width", [40, 72, 100])
@settings(max_examples=40, deadline=None)
@given(text=st.text(max_size=300))
def test_no_line_is_too_wide_and_no_input_reaches_the_terminal_as_a_command(width: int, text: str) -> None:
    made = assessment(
        patient=text or None, warnings=(text,), notices=(text,), recommendations=(recommendation(label=text),)
    )
    page = render(made, width=width)
    assert all(len(line) <= width for line in page.split("\n"))
    assert all(mark.isprintable() or mark == "\n" for mark in page)


def test_a_reason_is_told_once_and_then_by_the_number_of_its_item() -> None:
    twice = assessment(recommendations=(recommendation(), recommendation(target="other", label="Other")), avoid=())
    assert "Why: as 1 (eyes.red-reflex-abnormal)." in flat(render(twice))
    assert "Why: as" not in render(twice, full=True)


def test_a_deadline_that_is_proposed_above_or_lies_ahead_is_not_repeated() -> None:
    [due] = assessment().due
    above = due.model_copy(update={"rule": "eyes.red-reflex-abnormal"})
    ahead = due.model_copy(update={"state": "later", "label": "Two-month visit"})
    made = assessment(due=(above, ahead))
    assert "1 item falls due at a later age (--all)" in flat(render(made))
    assert "Two-month visit" in render(made, full=True)
    assert "Blood spot" in render(made, full=True)


def test_an_overdue_item_with_a_new_end_says_by_when() -> None:
    window = Window(until="2026-11-25T10:00:00-06:00", text="overdue", overdue=True)
    assert "OVERDUE, by Wed 25 Nov, 10:00" in flat(render(assessment(recommendations=(recheck(window=window),))))
