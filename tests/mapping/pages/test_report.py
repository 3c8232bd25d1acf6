"""The visit report: all that presses is on it, its figures are named and numbered, and it needs nothing else."""

from __future__ import annotations

import json
import re
from functools import cache
from html import unescape
from typing import Any
from xml.etree import ElementTree

import pytest
from support.shipped_examples import EXAMPLES, NAMES

from layette.engine.api import load_pack
from layette.engine.measures.thresholds import ThresholdSet
from layette.mapping.answering import Answer, answer
from layette.mapping.pages.figures import bilirubin
from layette.mapping.pages.report import report
from layette.mapping.text.labels import named

SVG = re.compile(r"<svg .*?</svg>", re.DOTALL)


@cache
def answered(name: str) -> Answer:
    return answer((EXAMPLES / f"{name}.json").read_bytes(), load_pack(), readers=["native"])


@cache
def made(name: str) -> str:
    found = answered(name)
    return report(found.assessment, load_pack(), found.visit)


def words(page: str) -> str:
    return " ".join(unescape(re.sub(r"<style>.*?</style>|<[^>]+>", " ", page, flags=re.DOTALL)).split())


@pytest.mark.parametrize("name", NAMES)
def test_what_presses_stands_on_the_report_and_first(name: str) -> None:
    found, page = answered(name).assessment, words(made(name))
    assert found.verdict.text in page
    assert found.caution in page
    asked = [*found.recommendations, *found.to_chase, *found.to_judge]
    pressing = [one for one in asked if one.priority in ("stat", "asap")]
    assert all(named(one) in page for one in pressing)
    if found.verdict.now:
        assert page.index(" Now ") < page.rindex(" Come back ")


@pytest.mark.parametrize("name", NAMES)
def test_the_report_loads_nothing(name: str) -> None:
    page = made(name)
    assert not re.search(r"<(script|link|img|iframe|object)\b|@import|url\(", page)
    outside = set(re.findall(r"https?://[^\"' <)]+", page)) - {"http://www.w3.org/2000/svg"}
    assert not outside


@pytest.mark.parametrize("name", NAMES)
def test_each_figure_has_a_name_a_description_and_its_numbers_beside(name: str) -> None:
    ids: list[str] = []
    for text in SVG.findall(made(name)):
        drawn = ElementTree.fromstring(text)
        title, told = drawn[0], drawn[1]
        assert drawn.get("role") == "img"
        assert drawn.get("aria-labelledby") == f"{title.get('id')} {told.get('id')}"
        assert title.text
        assert told.text
        ids += [title.get("id") or "", told.get("id") or ""]
    assert len(ids) == len(set(ids))
    assert ids
    figures = re.findall(r"<figure.*?</figure>", made(name), re.DOTALL)
    assert all("<table>" in figure and "<td>" in figure for figure in figures)


def test_text_of_a_feed_is_never_markup() -> None:
    found = answered("jaundiced-sleepy-day-4")
    named_by_feed = found.assessment.model_copy(update={"patient": "Patient/<script>alert(1)</script>"})
    page = report(named_by_feed, load_pack(), found.visit)
    assert "<script>" not in page
    assert "&lt;script&gt;" in page


def test_the_numbers_beside_a_figure_are_those_of_the_engine() -> None:
    found = answered("jaundiced-sleepy-day-4")
    page = words(made("jaundiced-sleepy-day-4"))
    loss = next(one for one in found.assessment.measures if one.id == "weight_loss")
    assert f"-{loss.low} %" in page
    centile = next(one for one in found.assessment.measures if one.id == "weight_centile")
    assert f"Weight day 4 2759 g {centile.low}" in page


def test_no_curve_is_drawn_for_a_sex_that_is_not_known() -> None:
    pack = load_pack()
    visit = {**answered("jaundiced-sleepy-day-4").visit, "sex_at_birth": "unknown"}
    page = report(pack.assess(visit), pack, visit)
    assert "Growth on the centiles" not in page
    assert "Weight against birth weight" in page


@pytest.mark.parametrize(("weeks", "one_way", "note"), [(39, False, "38 weeks"), (36, True, "teeth")])
def test_a_line_that_answers_one_way_only_is_drawn_as_such(weeks: int, one_way: bool, note: str) -> None:
    pack = load_pack()
    visit = {
        "born": "2026-05-11T02:15:00-05:00", "at": "2026-05-14T10:20:00-05:00", "sex_at_birth": "male",
        "findings": {
            "gestational_age": {"value": weeks, "unit": "wk", "time": "2026-05-11T02:30:00-05:00"},
            "serum_bilirubin": {"value": 12.0, "unit": "mg/dL", "time": "2026-05-14T08:00:00-05:00"},
        },
    }  # fmt: skip
    figure = bilirubin.bilirubin(pack, pack.read_visit(visit), pack.assess(visit))
    assert figure is not None
    assert any(note in told for told in figure.notes)
    assert any("teeth" in told for told in figure.notes) == one_way
    assert figure.numbers[1][-1] == "205 µmol/L"


def test_a_drawn_line_goes_through_the_printed_points() -> None:
    """NICE CG98 (2010, updated 2023), threshold table: exchange 100 at birth to 450 from 42 h, phototherapy 350."""
    table = load_pack().tables["nice-cg98"]
    assert isinstance(table, ThresholdSet)
    light, exchange = (table.curves[line, 38, None] for line in ("phototherapy", "exchange"))
    corners = dict(bilirubin._corners(light, 200))
    assert corners[24] == pytest.approx(200)
    assert corners[200] == pytest.approx(350)
    steps = list(bilirubin._corners(exchange, 120))
    assert steps[0] == (0, 100)
    assert {value for _, value in steps} == {100, 150, 200, 250, 300, 350, 400, 450}


def seen(findings: dict[str, Any]) -> str:
    """The words of the report of a visit."""
    at = {"born": "2026-11-24T08:30:00-06:00", "at": "2026-11-28T10:00:00-06:00", "sex_at_birth": "female"}
    found = answer(json.dumps(at | {"findings": findings}).encode(), load_pack(), readers=["native"])
    return words(report(found.assessment, load_pack(), found.visit))


def test_what_was_told_or_is_preliminary_or_was_charted_as_a_whole_says_so_among_what_is_as_expected() -> None:
    page = seen(
        {
            "cry": "strong",
            "convulsions": {"value": "none", "reported": True},
            "colour": {"value": "pink", "status": "preliminary"},
            "eyes_examination": "normal",
            "eye_alignment": "straight",
        }
    )
    (normal,) = re.findall(r"As expected:(.*?) Guidance ", page)
    assert re.search(r" Cry[;.]", normal)
    assert re.search(r"told by the family: Convulsions[^;.]*[;.]", normal)
    assert re.search(r"preliminary: Color[^;.]*[;.]", normal)
    assert re.search(
        r"Eyes Both eyes pointing the same way[^;.]*; charted as a whole .Eyes.: Clear front of the eye", normal
    )
    assert re.search(r"recorded could not be judged .*First look \d+ 1 2 ", page)


def test_a_finding_that_was_seen_too_is_not_told_alone() -> None:
    page = seen({"cry": [{"value": "strong", "reported": True}, "strong"]})
    assert "told by the family:" not in page


def test_it_says_what_was_entered_and_could_not_be_used() -> None:
    wrong = {"path": "findings.weight", "text": "33 kg", "why": "not physically possible", "finding": "weight"}
    visit = {
        "born": "2026-11-24T08:30:00-06:00", "at": "2026-11-28T10:00:00-06:00", "sex_at_birth": "female",
        "findings": {"temperature": {"value": "38.6", "unit": "Cel"}}, "not_understood": [wrong],
    }  # fmt: skip
    page = report(load_pack().assess(visit, readers=["native"]), load_pack(), visit)
    assert "1 value could not be read" in page
    assert "33 kg; not physically possible" in page


def test_a_birth_weight_that_is_entered_later_stands_at_birth_in_the_figures() -> None:
    page = seen(
        {
            "birth_weight": {"value": "7.1", "unit": "[lb_av]"},
            "weight": {"value": "6.8", "unit": "[lb_av]"},
            "birth_length": {"value": 50, "unit": "cm"},
        }
    )
    assert "0 h 7.1 lb birth" in page
    assert "Weight day 0 7.1 lb" in page
    assert "Weight day 4 6.8 lb" in page
    assert "Length, lying day 0 50 cm" in page


def test_the_age_is_told_once_and_no_time_left_is_below_nothing() -> None:
    at = {"born": "2026-11-01T08:30:00-06:00", "at": "2026-11-28T10:00:00-06:00", "sex_at_birth": "female"}
    visit = at | {"findings": {"mother_hbsag": "positive"}}
    page = words(report(load_pack().assess(visit, readers=["native"]), load_pack(), visit))
    assert "27 days (649 h)" in page
    assert "650 h" not in page
    assert "Left for hepatitis B immune globulin" not in page
    assert "Left for hepatitis B immune globulin" in seen({"mother_hbsag": "positive"})


def test_growth_of_a_baby_born_early_is_on_no_centile_before_40_weeks() -> None:
    weight = {"weight": {"value": 1.9, "unit": "kg"}, "head_circumference": {"value": 31, "unit": "cm"}}
    early = seen({**weight, "gestational_age": {"value": 34, "unit": "wk"}})
    assert "Growth for age not before 40 weeks" in early
    assert "centiles 3, 15, 50" not in early
    assert not re.search(r"-\d\.\d+ SD", early)
    term = seen({**weight, "gestational_age": {"value": 39, "unit": "wk"}})
    assert "not before 40 weeks" not in term
    assert re.search(r"-\d\.\d+ SD", term)


def test_growth_of_a_baby_born_early_counts_from_40_weeks_once_that_is_reached() -> None:
    """Born at 32 weeks, 88 days ago: 32 days past 40 weeks."""
    visit = {
        "born": "2026-09-01T08:30:00-05:00", "at": "2026-11-28T10:00:00-06:00", "sex_at_birth": "male",
        "findings": {"gestational_age": {"value": 224, "unit": "d"}, "weight": {"value": 4.5, "unit": "kg"}},
    }  # fmt: skip
    page = words(report(load_pack().assess(visit), load_pack(), visit))
    assert "Weight day 32 from term 4.5 kg" in page
    assert "Weight for age from term (z)" in page
    assert "Weight for age (z)" not in page


def test_a_bound_that_leaves_the_side_of_the_line_open_is_not_told_as_a_line() -> None:
    page = seen({"gestational_age": {"value": 36, "unit": "wk"}, "serum_bilirubin": {"value": 12, "unit": "mg/dL"}})
    assert "by its formula, 35 to 37 weeks" in page
    assert "≥ -" not in page
    assert "20.5 mg/dL" not in page


def test_no_centile_is_the_0th_or_the_100th() -> None:
    assert "below the 1st centile" in seen({"weight": {"value": 1.9, "unit": "kg"}})
    assert "above the 99th centile" in seen({"weight": {"value": 6.0, "unit": "kg"}})


def test_what_the_family_asked_stands_in_its_own_words_and_what_was_asked_alone_does_not() -> None:
    asked = {"value": "asked", "text": "¿Puede <b>dormir</b> así?", "reported": True}
    page = seen({"family_questions": asked, "violence_at_home": {"value": "current", "text": "he hits"}})
    assert "The family's own questions: ¿Puede <b>dormir</b> así?" in page
    assert "he hits" not in page
    assert " …" in seen({"family_questions": {"value": "asked", "text": "word " * 200}})


def test_a_measure_of_another_day_says_so() -> None:
    old = {"value": 9.0, "unit": "mg/dL", "time": "2026-11-26T08:00:00-06:00"}
    page = seen({"gestational_age": {"value": 39, "unit": "wk"}, "serum_bilirubin": old})
    assert re.search(r"Phototherapy line \d+\.\d µmol/L \(= \d+\.\d mg/dL\), Thu 26 Nov", page)


def test_the_emergency_department_comes_before_what_is_done_there() -> None:
    page = seen({"vomiting": "green", "femoral_pulse.left": "absent", "work_of_breathing": "grunting"})
    assert "Now: Emergency department, same-day full evaluation; " in page
    assert re.search(r" 1 Refer: Emergency department.* \d Upper gastrointestinal contrast study", page)


def test_vaccines_that_one_act_brings_are_one_line() -> None:
    visit = {"born": "2026-09-20T08:30:00-05:00", "at": "2026-11-05T10:00:00-06:00", "sex_at_birth": "female"}
    page = report(load_pack().assess(visit), load_pack(), visit)
    [missing] = re.findall(r"Not on record: look it up.*?</dl>", page, re.DOTALL)
    assert missing.count("Vaccines of the two-month visit") == 1


def test_a_report_that_holds_what_was_asked_alone_says_so() -> None:
    assert "Holds what was asked alone" in seen({"violence_at_home": "danger_now"})
    assert "Holds what was asked alone" not in seen(
        {"violence_at_home": "none", "temperature": {"value": 39, "unit": "Cel"}}
    )


def test_hours_in_the_figures_are_those_of_the_age_above_them() -> None:
    page = seen({"birth_weight": {"value": 3400, "unit": "g"}, "weight": {"value": 3200, "unit": "g"}})
    assert "4 days (97 h)" in page
    assert " 97 h 3200 g " in page
