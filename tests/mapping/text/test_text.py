"""The page of text: a verdict and what is pressing first, nothing wider than asked, nothing said by colour alone."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.assessment_samples import (
    AT,
    assessment,
    question,
    reason,
    recheck,
    recommendation,
    topic,
)
from support.page_samples import AT_VISIT, BEFORE, BILIRUBIN, WEIGHT, chased, flat, headline, judged, page

from layette.engine.answer.parts.assessment import ComeBack, ComeBackItem, Compared, Topics, Verdict
from layette.engine.answer.shapes.detail import Answer, Choice, Concluded, Step
from layette.engine.answer.shapes.proposed import Used, Window
from layette.engine.answer.shapes.used import SettingUsed
from layette.mapping.text import render


def test_the_head_says_who_when_by_which_rules_and_how_often_they_were_read() -> None:
    lines = page().splitlines()
    assert lines[0] == "Patient/mara, 4 d 1 h. Visit of Tue 24 Nov 2026, 10:00 (UTC-06:00)."
    assert flat(" ".join(lines[1:3])).startswith("Rule pack newborn 0.1.0 (US), digest 1234, read twice.")
    assert "read once" in page(readers=("native",))
    assert page(patient=None).startswith("A newborn without a reference, 4 d 1 h.")


def test_one_line_of_headline_measures_with_the_reading_as_it_was_recorded() -> None:
    made = assessment(
        measures=(
            headline("weight_loss", "Loss of birth weight", "3.5 %", WEIGHT),
            headline("weight_centile", "Weight centile", "54 {centile}", WEIGHT),
            headline("margin", "Bilirubin above the line", "-1.2 mg/dL", BILIRUBIN),
        )
    )
    line = render(made).splitlines()[2]
    assert line.startswith("Weight 7.275 lb (3.300 kg): loss of birth weight 3.5 % · Total bilirubin 14.0 mg/dL: ")
    assert "bilirubin below the line 1.2 mg/dL" in flat(render(made))
    assert "3.299884" not in render(made, full=True)
    assert re.search(r"^MEASURES +Weight: 54th centile$", render(made), re.MULTILINE)


def test_of_headline_measures_those_of_the_latest_day_come_first() -> None:
    old = BILIRUBIN.model_copy(update={"label": "Birth weight", "time": "2026-11-20T08:30:00-06:00"})
    made = assessment(
        measures=(headline("size", "Size", "small", old), headline("margin", "Margin", "2 mg/dL", BILIRUBIN))
    )
    line = render(made).splitlines()[2]
    assert line == "Total bilirubin 14.0 mg/dL: margin 2 mg/dL · Birth weight 14.0 mg/dL, Fri 20 Nov: size small"


def test_a_measure_that_is_no_headline_comes_only_with_all_of_them() -> None:
    assert "Weight loss" not in page()
    assert "Weight loss: 7.3 % (from the birth weight; reflex-2008)" in page(full=True)


def test_values_that_contradict_each_other_stand_at_the_top() -> None:
    both = Used(subject="temperature", label="Temperature", value="38.1 Cel or 38.4 Cel", time=AT)
    why = "recorded more than once at one time, differing: one of these"
    made = assessment(
        warnings=(f"Temperature: {why}", f"Other: {why}"),
        choices=(Choice(subject="Temperature", used=both, not_used=(), why=why),),
    )
    lines = render(made).splitlines()
    [place] = [
        k for k, line in enumerate(lines) if line.startswith("! Temperature: 38.1 °C or 38.4 °C, both at 10:00.")
    ]
    assert place < 5
    assert f"! Other: {why}" in lines
    assert flat(render(made)).count("Temperature: ") == 1


def test_proposals_that_exclude_each_other_stand_at_the_top() -> None:
    notice = "'A' and 'B' exclude each other: decide which (x.a, x.b)"
    lines = page(notices=("The history is not complete.", notice)).splitlines()
    assert f"! {notice}" in lines[:6]
    assert sum(notice in line for line in lines) == 1


def test_the_verdict_comes_first_and_the_next_visit_within_ten_lines() -> None:
    verdict = Verdict(
        text="Nothing pressing in what was recorded.",
        pressing=False,
        now=0,
        by_tomorrow=0,
        to_judge=0,
        next_visit=AT_VISIT,
    )
    family = (Topics(heading="safety", topics=(topic("a", "Safe sleep"), topic("b", "Car seat"))),)
    lines = page(recommendations=(), verdict=verdict, come_back=(AT_VISIT,), tell_family=family).splitlines()[:10]
    assert "Nothing pressing in what was recorded." in lines
    assert "Come back Sat 28 Nov to Tue 1 Dec. 2 things to tell the family." in lines


def test_sections_stand_in_the_order_in_which_they_are_needed() -> None:
    made = assessment(
        recommendations=(recommendation(), recheck()), to_chase=(chased(target="x"),), to_judge=(judged(),),
        avoid=(recommendation(kind="avoid", reasons=(reason("x.y"),)),),
        not_on_record=assessment().due, come_back=(AT_VISIT,), standing=(recommendation(target="s"),),
        tell_family=(Topics(heading="safety", topics=assessment().guidance),),
        compared=(Compared(finding="weight", label="Weight", earlier=BEFORE, now=WEIGHT, changed=True),),
        measures=(headline("a", "Head centile", "3 {centile}", WEIGHT), headline("b", "Fall", "2 cm", WEIGHT)),
    )  # fmt: skip
    headings = [
        "NOW", "TO CHASE NOW", "TO JUDGE BEFORE THEY LEAVE", "WITHIN A WEEK", "DO NOT", "ALREADY ORDERED",
        "NOT ON RECORD", "COME BACK", "TO TELL THE FAMILY", "TO EXAMINE", "NORMAL AT THIS AGE", "MEASURES",
        "WHAT CHANGED", "ABOUT THE INPUT", "Proposals for a clinician", "(m) from memory",
    ]  # fmt: skip
    lines = render(made).splitlines()
    places = [next(k for k, line in enumerate(lines) if line.startswith(heading)) for heading in headings]
    assert places == sorted(places)


def test_rules_stand_at_the_end_by_number_and_sources_with_all() -> None:
    assert "Rules: 1 eyes.red-reflex-abnormal; the others, and all sources: --all." in flat(page())
    said = flat(page(full=True))
    assert "reflex-2008 (published): Red reflex examination, 2008" in said
    assert "memory-window (from-memory): window of 24 to 48 h" in said


def test_what_is_not_on_record_stands_by_its_deadline() -> None:
    [due] = assessment().due
    open_ = due.model_copy(
        update={
            "state": "due",
            "label": "Hearing screen",
            "window": Window(until="2026-12-01T08:00:00-06:00", text="x"),
        }
    )
    lines = page(not_on_record=(open_, due)).splitlines()
    place = lines.index("NOT ON RECORD: look it up, else do it")
    assert lines[place + 1 : place + 3] == [
        "  overdue        Blood spot (Sun 22 Nov)",
        "  by Tue 1 Dec   Hearing screen",
    ]
    assert "Some of these illnesses need treatment in the first week." in flat(page(full=True))


def test_what_to_tell_has_a_row_each_heading_and_the_words_with_all() -> None:
    topics = tuple(topic(f"t{k}", f"Topic {k} of many") for k in range(40))
    made = assessment(tell_family=(Topics(heading="safety", topics=topics),), guidance=topics)
    assert re.search(r"^  safety +Topic 0 of many", render(made), re.MULTILINE)
    assert re.search(r"and \d+ more \(--all\)", render(made))
    assert all(f"Topic {k} of many, in words for the family." in flat(render(made, full=True)) for k in range(40))


def test_what_to_tell_gives_way_to_what_presses() -> None:
    many = tuple(recommendation(label=f"Stat {k}", target=f"t{k}", reasons=(reason(f"a.{k}"),)) for k in range(34))
    family = tuple(Topics(heading=f"part {k}", topics=assessment().guidance) for k in range(9))
    said = page(recommendations=many, tell_family=family)
    assert "part 0 (2) · part 1 (2)" in said
    assert all(f"Stat {k}," in said for k in range(34))


def test_the_examination_is_a_tick_list() -> None:
    said = flat(page())
    assert "TO EXAMINE (! could be an emergency; +n: n more, --all)" in said
    assert "Eyes [ ]! Red reflex, right (tried: not performed)" in said
    assert "Closes" not in said


def test_settled_and_unsettled_targets_are_counted_with_all() -> None:
    answers = (
        Answer(target="a", kind="refer", label="Cardiology", certain=None, possible=None, settled=True),
        Answer(target="b", kind="refer", label="Orthopedics", certain=None, possible="stat", settled=False),
    )
    said = flat(page(answers=answers, full=True))
    assert "not needed: 1 of 2 targets - still open: Orthopedics" in said


def test_a_conclusion_names_its_rules_where_there_are_any() -> None:
    none = Concluded(id="danger_sign", label="danger sign", state="no", rules=())
    made = assessment(conclusions=(*assessment().conclusions, none))
    lines = [line.strip() for line in render(made, full=True).splitlines()]
    assert "- An eye is abnormal: yes (eyes.red-reflex-abnormal)" in lines
    assert "- danger sign: no" in lines


def test_settings_that_differ_and_readings_kept_aside_are_said() -> None:
    said = flat(page())
    assert "Hip pathway: aap-2000, not the pack's default" in said
    assert "Earlier or less settled values kept aside: Temperature." in said
    assert "1 rule not evaluated (--all)." in said
    assert "Temperature: used 36.9 °C; not used: 38.4 °C (the latest)" in flat(page(full=True))


def test_the_set_of_lines_is_said_once_in_the_head() -> None:
    notice = "Treatment lines: NICE CG98, issuer nice"
    setting = SettingUsed(id="bilirubin_set", label="Treatment lines", choice="nice-cg98", default=True)
    assert notice not in page(notices=(notice,), settings=(setting,))
    assert "Treatment lines: nice-cg98." in flat(page(notices=(notice,), settings=(setting,)))
    assert notice in page(notices=(notice,), settings=(setting,), full=True)


def test_what_changed_stands_with_its_dates() -> None:
    earlier = Used(
        subject="weight", label="Weight", value="3255 g", time="2026-11-22T09:00:00-06:00", note="= 3.255 kg"
    )
    pairs = (
        Compared(finding="weight", label="Weight", earlier=earlier, now=WEIGHT, changed=True),
        Compared(finding="length", label="Length", earlier=earlier, now=earlier, changed=False),
    )
    said = flat(page(compared=pairs))
    assert "WHAT CHANGED Weight: 3255 g, Sun 22 Nov → 7.275 lb (3.300 kg) ABOUT" in said


def test_colour_adds_nothing_but_colour() -> None:
    plain, coloured = render(assessment()), render(assessment(), colour=True)
    assert "\x1b" not in plain
    assert "\x1b[1;31m" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == plain


def test_a_normal_visit_fits_about_one_screen() -> None:
    made = assessment(recommendations=(recheck(),), avoid=(), cannot_evaluate=(), warnings=(), choices=())
    assert len(render(made).splitlines()) < 40


def test_the_end_says_what_was_counted_the_caution_and_how_it_was_read() -> None:
    lines = render(assessment(), counts="9 entries read: 9 used.").splitlines()
    assert "9 entries read: 9 used." in " ".join(lines)
    assert assessment().caution in lines[-4:]
    assert "native and rete" in render(assessment(), full=True).splitlines()[-1]


TEXTS = st.text(max_size=300)


@pytest.mark.parametrize("full", [False, True])
@pytest.mark.parametrize("width", [40, 72, 100])
@settings(max_examples=40, deadline=None)
@given(text=TEXTS, other=TEXTS)
def test_no_line_is_too_wide_and_no_input_reaches_the_terminal_as_a_command(
    full: bool, width: int, text: str, other: str
) -> None:
    used = Used(subject="x", label=text, value=other, time=None, note=text)
    asked = recommendation(label=text, do=(other, text), reasons=(reason(values=(used,), title=other),))
    made = assessment(
        patient=text or None, warnings=(text, f"{other}: recorded more than once at one time, differing"),
        notices=(text,), recommendations=(asked, asked.model_copy(update={"priority": "routine"})),
        to_judge=(judged(label=other, values=(used,), why=text),), standing=(asked,), to_chase=(asked,),
        contacts={"ward": text}, tell_family=(Topics(heading=other, topics=(asked,)),), reassurance=(asked,),
        steps=(Step(area=other, label=text, worst="stat", rules=1, emergencies=0, questions=(
            question("a", text, reason=other, state="attempted"),)),),
        choices=(Choice(subject=text, used=used, not_used=(used,), why=other),),
        compared=(Compared(finding="x", label=text, earlier=used, now=used, changed=True),),
        come_back=(ComeBack(start=AT, until=None, items=(ComeBackItem(label=text, side=other, target="x"),)),),
        measures=(headline("x", text, other, used),),
    )  # fmt: skip
    lines = render(made, width=width, full=full).split("\n")
    assert max(map(len, lines)) <= width
    assert all(mark.isprintable() for line in lines for mark in line)
