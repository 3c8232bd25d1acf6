"""Pages of the shipped pack: how long they may be, and that nothing is lost between the short one and the full one."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from support.page_samples import flat
from support.shipped_examples import EXAMPLES, NAMES
from support.sweeps import every_case

from layette.engine.answer.parts.assessment import Assessment
from layette.engine.api import Pack, load_pack
from layette.mapping.answering import answer
from layette.mapping.text import HEALTHY, SICK, render
from layette.mapping.text.about import About, changed_from_shipped
from layette.mapping.text.labels import named
from layette.mapping.text.ticks import MOST

SICKEST = (
    "encephalopathy", "yellow-and-hard-to-wake", "nice-exchange", "very-high-day-16", "heart-murmur-failure",
    "belly-hard-green", "oximetry-94-94-second", "hepatitis-b-declined-positive",
)  # fmt: skip
"""Cases of the pack with the most to do at once."""

BORN, AT, NOW = "2026-06-01T08:00:00-05:00", "2026-06-04T15:10:00-05:00", "2026-06-04T15:00:00-05:00"
WHITE = {"red_reflex.left": {"value": "white", "time": "2026-06-02T10:00:00-05:00"}}
LATE = {
    "target": "ophthalmology", "side": "left", "status": "active", "priority": "stat",
    "time": "2026-06-02T10:00:00-05:00", "until": "2026-06-03T10:00:00-05:00",
}  # fmt: skip


def both(*values: Any, **more: Any) -> list[dict[str, Any]]:
    """Return recordings of one moment."""
    return [{"value": value, "time": NOW} | more for value in values]


def made(findings: dict[str, Any], **parts: Any) -> dict[str, Any]:
    return {"born": BORN, "at": AT, "sex_at_birth": "male", "findings": findings} | parts


OWN = {
    "values that differ, fever, no line": made({
        "temperature": both("37.5", "38.4", unit="Cel"), "red_reflex.left": both("absent", "present"),
        "pulse_oximetry": [{"hand": hand, "foot": hand, "unit": "%", "time": NOW} for hand in (81, 97)],
        "gestational_age": {"value": 36, "unit": "wk"}, "serum_bilirubin": both("9.8", "15", unit="mg/dL"),
    }),
    "an eye that waits": made({"red_reflex.right": "present"}, history={"orders": [LATE], "findings": WHITE}),
    "a girl of whom nothing was recorded": made({}, sex_at_birth="female"),
    "a boy of whom nothing was recorded": made({}),
}  # fmt: skip


class Visit(NamedTuple):
    """A visit with its answer, and what the page says of it, short and full."""

    assessment: Assessment
    short: str
    full: str


@cache
def pack() -> Pack:
    return load_pack()


@cache
def cases() -> dict[str, dict[str, Any]]:
    return {case.shape.id: case.shape.given for case in every_case()}


@cache
def visit(name: str) -> Visit:
    if name in NAMES:
        found = answer((EXAMPLES / f"{name}.json").read_bytes(), pack(), readers=("native",))
        return Visit(found.assessment, found.to_text(pack()), found.to_text(pack(), full=True))
    given = OWN.get(name) or cases()[name]
    assessment = pack().assess(given, readers=("native",))
    short, full = (render(assessment, full=full, pack=pack(), visit=given, counts="Read.") for full in (False, True))
    return Visit(assessment, short, full)


every = pytest.mark.parametrize("name", [*NAMES, *SICKEST, *OWN])


def section(page: str, heading: str) -> list[str]:
    """Return the lines of a section, its heading among them."""
    lines = page.splitlines()
    starts = [k for k, line in enumerate(lines) if line.startswith(heading)]
    return lines[starts[0] : lines.index("", starts[0])] if starts else []


@every
def test_a_page_fits(name: str) -> None:
    assessment, short, _ = visit(name)
    lines, ticks = short.splitlines(), section(short, "TO EXAMINE")
    most = SICK if assessment.verdict.pressing or assessment.steps else HEALTHY
    assert len(lines) <= most, f"{name}: {len(lines)} lines"
    assert max(map(len, lines)) <= 100, f"{name}: {max(map(len, lines))} columns"
    assert len(ticks) <= MOST, f"{name}: {len(ticks)} lines to examine"


def test_a_healthy_baby_has_the_next_visit_in_the_first_ten_lines() -> None:
    lines = visit("healthy-day-4").short.splitlines()
    assert len(lines) <= HEALTHY == 45, f"{len(lines)} lines"
    assert any(line.startswith("Come back Thu 14 to Mon 18 May.") for line in lines[:10])
    assert visit("healthy-day-4").assessment.come_back[0].start.startswith("2026-05-14")


@every
def test_the_full_page_loses_nothing(name: str) -> None:
    made, _, full = visit(name)
    said = flat(full)
    proposed = (*made.recommendations, *made.to_chase, *made.avoid, *made.standing, *made.guidance, *made.reassurance)
    wanted = [
        *(named(one) for one in (*proposed, *made.to_judge)),
        *(text for one in made.to_judge for text in (one.why, one.settles, *one.rules)),
        *(text for one in (*made.recommendations, *made.to_chase, *made.avoid) for text in one.do),
        *(why.rule for one in proposed for why in one.reasons),
        *(source.id for one in proposed for why in one.reasons for source in why.sources),
        *(due.label for due in made.due), *(due.rule for due in made.due),
        *(question.label for step in made.steps for question in step.questions),
        *made.warnings, *made.notices,
        *(one.rule for one in made.cannot_evaluate), *(one.label for one in made.conclusions),
    ]  # fmt: skip
    assert [text for text in dict.fromkeys(wanted) if flat(text) not in said] == []
    assert "(--all)" not in full


@every
def test_the_short_page_keeps_all_that_presses(name: str) -> None:
    made, short, _ = visit(name)
    said = flat(short)
    pressing = [one for one in made.recommendations if one.priority in ("stat", "asap")]
    wanted = [named(one) for one in (*pressing, *made.to_chase, *made.to_judge)]
    wanted += [text for one in pressing if one.priority == "stat" for text in one.do]
    wanted += [pack().targets[due.target].label for due in made.not_on_record]
    assert [text for text in wanted if flat(text) not in said] == []


@every
def test_what_could_be_an_emergency_and_was_not_looked_at_is_told_or_counted(name: str) -> None:
    made, short, _ = visit(name)
    awaited = {name for name, shape in pack().findings.items() if shape.awaited}
    areas = About.of(pack(), None).areas
    said = "\n".join([*section(short, "TO EXAMINE"), *section(short, "NOT ON RECORD")])
    for step in made.steps:
        open_ = [one for one in step.questions if one.emergencies and one.finding.split(".")[0] not in awaited]
        if open_:
            words = areas.get(step.area, "Birth facts").replace(",", "").split()[0]
            assert words in said, f"{step.label} is not on the list"


def test_values_that_differ_stand_at_the_top_and_are_judged() -> None:
    lines = visit("values that differ, fever, no line").short.splitlines()
    assert "! Temperature: 37.5 °C or 38.4 °C, both at 15:00. Either is acted on: check which is right." in lines[:10]
    said = flat("\n".join(lines))
    assert "and foot: foot 81 % or 97 %, hand 81 % or 97 %, both at 15:00. Either is acted on" in said
    assert "Temperature, highest: 37.5 °C and 38.4 °C." in said
    assert "Total bilirubin in serum: 15 mg/dL and 9.8 mg/dL, 15:00. Recorded more than once" in said
    assert said.count("Recorded more than once at one time, differing.") == 3


def test_an_eye_that_waits_is_chased_on_the_first_lines() -> None:
    lines = visit("an eye that waits").short.splitlines()
    assert lines[3] == "Overdue, chase now: Ophthalmologist, left."
    assert lines[6] == "TO CHASE NOW (ordered, overdue)"
    assert "Red reflex, left: white, Tue 2 Jun." in flat("\n".join(lines[7:11]))
    assert "Not looked at again today." in flat("\n".join(lines[7:11]))


@pytest.mark.parametrize(
    ("sex", "other"), [("girl", "testis"), ("girl", "testes"), ("girl", "scrot"), ("boy", "labia"), ("boy", "vagina")]
)
def test_nothing_is_said_of_the_other_sex(sex: str, other: str) -> None:
    made, short, full = visit(f"a {sex} of whom nothing was recorded")
    assert f"{sex}, 3 days" in short
    for part in (section(short, "TO EXAMINE"), section(full, "TO EXAMINE"), [made.verdict.text]):
        assert other not in " ".join(part).lower()


def test_the_words_for_the_examination_of_a_boy_are_there() -> None:
    assert "Testis, left" in flat("\n".join(section(visit("a boy of whom nothing was recorded").full, "TO EXAMINE")))


def test_what_the_pack_says_of_an_edited_copy(tmp_path: Path) -> None:
    import shutil

    folder = tmp_path / "pack"
    shutil.copytree(str(pack().folder), folder)
    given = made({})
    copy = load_pack(folder)
    assert not changed_from_shipped(copy)
    assert "changed" not in render(copy.assess(given, readers=("native",)), pack=copy, visit=given)
    settings = folder / "settings.yaml"
    settings.write_text(settings.read_text(encoding="utf-8") + "# edited\n", encoding="utf-8")
    edited = load_pack(folder)
    assert changed_from_shipped(edited)
    page = render(edited.assess(given, readers=("native",)), pack=edited, visit=given)
    assert f"digest {edited.digest[:8]}, changed from the shipped pack, read once." in flat(page)
