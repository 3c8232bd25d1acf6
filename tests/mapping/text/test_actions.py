"""What is to be done: by whom it is asked for, by when, why, and what is not to be done beside it."""

from __future__ import annotations

from support.assessment_samples import (
    AT,
    MEMORY,
    assessment,
    reason,
    recheck,
    recommendation,
)
from support.page_samples import AT_VISIT, BEFORE, chased, flat, judged, page

from layette.engine.answer.parts.assessment import Compared, DoGroup
from layette.engine.answer.shapes.proposed import Placed, Window
from layette.mapping.text import render


def test_a_line_says_what_side_when_what_was_found_and_why() -> None:
    said = flat(page())
    assert (
        "1 Refer: Ophthalmology, left, by Wed 25 Nov, 10:00. Red reflex, left: absent. "
        "An abnormal reflex can be a cataract or a tumour of the eye. Ask for: Dilated examination" in said
    )
    assert "eyes.red-reflex-abnormal; reflex-2008" in flat(page(full=True))


def test_a_line_that_rests_on_memory_is_marked_and_the_mark_is_explained() -> None:
    said = flat(page(recommendations=(recommendation(reasons=(reason(sources=(MEMORY,)),)),)))
    assert "a tumour of the eye. (m)" in said
    assert "(m) from memory, (r) our own reading" in said
    assert "(m)" not in flat(page(recommendations=(recommendation(),))).replace("(m) from memory", "")


def test_a_provisional_line_says_unless() -> None:
    assert "Weigh again, by Thu 26 Nov. Unless recorded: Delivery by caesarean. (m)" in flat(page())
    said = flat(page(full=True))
    assert "Weigh again, by Thu 26 Nov, 10:00. Provisional." in said
    assert "Unless recorded: Delivery by caesarean." in said


def test_a_reason_is_told_once_and_then_by_the_number_of_its_item() -> None:
    twice = assessment(recommendations=(recommendation(), recommendation(target="other", label="Other")), avoid=())
    assert "2 Refer: Other, left, by Wed 25 Nov, 10:00. Why: as 1." in flat(render(twice))
    assert "Why: as" not in render(twice, full=True)


def test_further_reasons_are_named() -> None:
    made = assessment(recommendations=(recommendation(reasons=(reason(), reason("eyes.other", title="Another look"))),))
    assert "Also: Another look" in render(made)
    assert "Also:" not in render(made, full=True)
    assert "eyes.other" in render(made, full=True)


def test_what_is_asked_for_now_is_never_cut() -> None:
    asked = tuple(f"Something long that is asked for, number {k}" for k in range(30))
    said = flat(page(recommendations=(recommendation(do=asked),)))
    assert all(one in said for one in asked)


def test_what_is_asked_for_later_is_one_line() -> None:
    asked = tuple(f"Something that is asked for, number {k}" for k in range(30))
    lines = page(recommendations=(recheck(do=asked, certain="urgent"),)).splitlines()
    [line] = [line for line in lines if "Weigh again" in line]
    assert "number 0 · and 29 more (--all)" in line
    assert all(one in flat(page(full=True, recommendations=(recheck(do=asked),))) for one in asked)


def test_what_is_not_to_be_done_stands_once_under_the_action_that_it_belongs_to() -> None:
    avoid = tuple(
        recommendation(target="film", kind="avoid", label="No film", side=side, reasons=(reason("hips.ortolani"),))
        for side in ("left", "right")
    )
    made = assessment(
        recommendations=(recommendation(), recheck(reasons=(reason("hips.ortolani"),), certain="urgent")), avoid=avoid
    )
    lines = render(made).splitlines()
    [place] = [k for k, line in enumerate(lines) if "No film" in line]
    assert lines[place] == "     Do not: No film"
    assert "Weigh again" in lines[place - 1]
    assert "DO NOT" not in lines
    alone = assessment(recommendations=(recommendation(reasons=(reason("x.y"),)),), avoid=avoid).model_copy()
    assert "DO NOT\n  No film, left" in render(alone)


def test_an_overdue_order_says_since_when_and_what_made_it() -> None:
    said = flat(page(recommendations=(), to_chase=(chased(),)))
    assert (
        "TO CHASE NOW (ordered, overdue) 1 Ophthalmology, left: asked for on Sun 22 Nov, 09:00, to be seen by "
        "Mon 23 Nov, 09:00. Red reflex, left: white, Sun 22 Nov. An abnormal reflex can be a cataract or a tumour of "
        "the eye. Not looked at again today." in said
    )


def test_what_was_looked_at_again_today_is_not_called_unseen() -> None:
    now = BEFORE.model_copy(update={"value": "absent", "time": AT})
    again = Compared(finding="red_reflex", label=BEFORE.label, earlier=BEFORE, now=now, changed=True)
    assert "Not looked at again" not in flat(page(to_chase=(chased(),), compared=(again,)))
    today = recommendation(placed=chased().placed, reasons=(reason(values=(now,)),))
    assert "Not looked at again" not in flat(page(to_chase=(today,)))


def test_a_value_to_judge_says_its_time_why_and_what_hangs_on_it() -> None:
    both = (judged(), judged(target="light", label="Phototherapy", priority="asap"))
    said = flat(page(recommendations=(), to_judge=both))
    assert (
        "TO JUDGE BEFORE THEY LEAVE 1 Total bilirubin: 14.0 mg/dL, 08:30. No line covers 36 weeks. Read it on your "
        "chart. May need: Exchange transfusion (now); Phototherapy (within a day)." in said
    )
    assert "jaundice.exchange" in flat(page(to_judge=both, full=True))


def test_groups_say_by_when_and_an_earlier_end_is_named() -> None:
    until = "2026-11-25T10:00:00-06:00"
    soon = recheck(label="Measure", window=Window(until="2026-11-24T16:00:00-06:00", text="x"), certain="urgent")
    late = recheck(label="Ask", window=Window(until="2026-11-22T08:30:00-06:00", text="x", overdue=True))
    same = recheck(label="Weigh", window=Window(until=until, text="x"), certain="urgent")
    group = DoGroup(deadline="within 24 hours", until=until, items=(soon, same, late))
    said = flat(page(do=(group,)))
    assert "WITHIN 24 HOURS (by Wed 25 Nov, 10:00)" in said
    assert "1 Measure, by Tue 24 Nov, 16:00. (m) 2 Weigh. (m) 3 Ask, overdue since Sun 22 Nov, 08:30." in said


def test_what_was_proposed_and_never_ordered_says_so_and_tells_its_reason_only_where_it_is_an_emergency() -> None:
    day = "2026-11-23T10:00:00-06:00"
    window = Window(until="2026-11-24T08:00:00-06:00", text="x", overdue=True, proposed=day)
    placed = Placed(status="draft", priority="asap", time=day, until=window.until, overdue=True)
    late = {"window": window, "placed": placed}
    asap = {"priority": "asap", "certain": "asap", "possible": "asap", "target": "feeds", "label": "Watch a feed"}
    group = DoGroup(deadline="now", until=None, items=(recommendation(**late), recommendation(**late, **asap)))
    said = flat(page(do=(group,)))
    since = "left, proposed Mon 23 Nov, 10:00, never ordered: order now"
    assert f"1 Refer: Ophthalmology, {since}. Red reflex, left: absent." in said
    assert f"2 Refer: Watch a feed, {since}. ABOUT" in said or f"2 Refer: Watch a feed, {since}. TO" in said
    assert "On record as draft" not in said
    assert "On record as draft, asap." in flat(page(do=(group,), full=True))


def test_a_far_off_recheck_stands_once_with_its_visit() -> None:
    far = recheck(priority="routine")
    group = DoGroup(deadline="by a date", until=None, items=(far,))
    made = assessment(recommendations=(far,), do=(group,), come_back=(AT_VISIT,))
    assert flat(render(made)).count("Weigh again") == 1
    assert "BY A DATE" not in render(made)
    assert "BY A DATE" in render(made, full=True)


def test_an_order_that_stands_and_a_missing_anchor_are_said() -> None:
    one = recommendation(
        placed=Placed(status="active", priority="urgent"),
        window=Window(text="soon", missing="the time of blood_spot is not recorded"),
    )
    said = flat(page(recommendations=(one,)))
    assert "On record as active, urgent." in said
    assert "Counted from the visit: the time of blood spot is not recorded." in said


def test_what_stands_says_how() -> None:
    placed = Placed(status="revoked", priority="routine", time="2026-11-22T09:00:00-06:00")
    late = Placed(status="active", priority=None, until="2026-11-23T09:00:00-06:00", overdue=True)
    said = flat(page(standing=(recommendation(placed=placed), recommendation(placed=late), recommendation())))
    assert "Ophthalmology, left: declined on Sun 22 Nov, 09:00, routine" in said
    assert "no priority given, OVERDUE since Mon 23 Nov, 09:00: no result on record" in said
    assert "Ophthalmology, left: done" in said


def test_long_lists_are_cut_but_never_what_is_proposed() -> None:
    many = tuple(recommendation(label=f"Stat {k}", target=f"s{k}") for k in range(20))
    later = tuple(recheck(label=f"Routine {k}", priority="routine") for k in range(20))
    made = assessment(recommendations=(*many, *later), warnings=tuple(f"Warning {k}" for k in range(30)))
    short, full = render(made), render(made, full=True)
    assert all(f"Stat {k}," in flat(short) for k in range(20))
    assert all(f"Routine {k}," in flat(short) for k in range(20))
    assert "and 26 more (--all)" in short
    assert "more (--all)" not in full
    assert all(f"Warning {k}" in full for k in range(30))


def test_the_mother_is_named_where_she_is_meant() -> None:
    hers = recommendation(label="Emergency mental health care", subject="mother", side=None)
    assert "Refer: Emergency mental health care (the mother), by" in flat(page(recommendations=(hers,)))
