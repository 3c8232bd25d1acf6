"""The family sheet: plain words, nothing of the mother's own answers, and what to do first on top."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
import textstat
from support.shipped_examples import EXAMPLES, NAMES

from layette.engine.api import load_pack
from layette.mapping.answering import answer
from layette.mapping.pages.diapers import expected_diapers
from layette.mapping.pages.family_sheet import family_sheet
from layette.mapping.pages.family_words import family_words, languages

SIXTH = 6.9
"""The Flesch-Kincaid grade of the seventh is 7.0: what is below is the sixth."""
VISIT: dict[str, Any] = {
    "born": "2026-05-11T02:15:00-05:00", "at": "2026-05-15T10:20:00-05:00", "sex_at_birth": "male",
    "findings": {"temperature": {"value": 36.8, "unit": "Cel"}},
}  # fmt: skip


def sheet(visit: dict[str, Any], language: str = "en") -> str:
    pack = load_pack()
    return family_sheet(pack.assess(visit, readers=["native"]), pack, visit, language)


def shipped(name: str, language: str = "en") -> str:
    found = answer((EXAMPLES / f"{name}.json").read_bytes(), load_pack(), readers=["native"])
    return family_sheet(found.assessment, load_pack(), found.visit, language)


def words(page: str) -> str:
    return " ".join(unescape(re.sub(r"<style>.*?</style>|<svg.*?</svg>|<[^>]+>", " ", page, flags=re.DOTALL)).split())


@pytest.mark.parametrize("name", NAMES)
def test_a_sheet_reads_at_the_sixth_grade(name: str) -> None:
    page = shipped(name)
    told = [unescape(re.sub(r"<[^>]+>", "", one)) for one in re.findall(r"<p>(.*?)</p>", page, re.DOTALL)]
    text = re.sub(r"(\d)\.(\d)", r"\1\2", " ".join(told))
    assert textstat.flesch_kincaid_grade(text) <= SIXTH


@pytest.mark.parametrize("language", languages())
def test_what_to_do_now_and_the_number_to_call_stand_first(language: str) -> None:
    page = words(sheet(VISIT, language))
    help_now, own = page.index("911"), family_words(language)
    assert help_now < page.index(own["come"]) < page.index(own["home"])


MOTHERS = {
    "epds_self_harm_item": {"value": 3, "unit": "{score}"},
    "epds_total": {"value": 22, "unit": "{score}"},
    "violence_at_home": "danger_now",
}


@pytest.mark.parametrize("language", languages())
def test_nothing_of_what_the_mother_answered_is_on_it(language: str) -> None:
    pack = load_pack()
    given = {name: value for name, value in MOTHERS.items() if name in pack.findings}
    assert len(given) >= 2
    with_hers = {**VISIT, "findings": {**VISIT["findings"], **given}}
    assert pack.assess(with_hers).recommendations != pack.assess(VISIT).recommendations
    assert set(words(sheet(with_hers, language)).split()) <= set(words(sheet(VISIT, language)).split())


HERS = {
    "mother_hiv": "positive", "mother_hepatitis_c": "positive", "mother_syphilis": "positive",
    "mother_opioids": "methadone", "mother_platelets": "immune", "mother_zika": "laboratory_evidence",
    "violence_at_home": "current",
}  # fmt: skip


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("finding", HERS)
def test_what_is_due_later_because_of_the_mother_does_not_give_her_away(finding: str, language: str) -> None:
    """The test of the baby's blood for HIV at four months says what the mother has; its days alone do not."""
    own = family_words(language)
    with_hers = {**VISIT, "findings": {**VISIT["findings"], finding: HERS[finding]}}
    asked, come = (
        {word for part in words(page).split(own["come"])[:2] for word in part.partition(own["diapers"])[0].split()}
        for page in (sheet(with_hers, language), sheet(VISIT, language))
    )
    assert len(come) > 40
    dates = [*own["days"], *own["months"], own["by"], own["from"], own["date"], own["unnamed"]]
    neutral = {word.strip(".,") for text in dates for word in text.split()}
    assert {word.strip(".,") for word in asked - come if not any(sign.isdigit() for sign in word)} <= neutral


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("finding", ["mother_hiv", "mother_zika"])
def test_what_may_not_be_named_keeps_its_days(finding: str, language: str) -> None:
    with_hers = {**VISIT, "findings": {**VISIT["findings"], finding: HERS[finding]}}
    unnamed = family_words(language)["unnamed"]
    assert unnamed in words(sheet(with_hers, language))
    assert unnamed not in words(sheet(VISIT, language))


def test_what_is_ordered_for_a_later_day_stands_with_its_days_when_to_come_back() -> None:
    page = words(sheet({**VISIT, "findings": {"breech_third_trimester": "yes", "barlow.both": "negative"}}))
    come = page.partition("When to come back")[2].partition("Feeding and diapers")[0]
    assert re.search(r"Mon, June 22 – Mon, June 29 Ultrasound of the hips", come)
    assert "Radiograph of the pelvis" in come


def test_what_every_such_baby_is_asked_for_is_named_though_the_mothers_test_is_among_its_reasons() -> None:
    doses = {
        "hepatitis_b_vaccine": {"value": "given", "time": "2026-05-11T08:00:00-05:00"},
        "mother_hbsag": "negative", "birth_weight": {"value": 3420, "unit": "g"},
    }  # fmt: skip
    visit = {**VISIT, "at": "2026-06-20T10:00:00-05:00", "findings": {**VISIT["findings"], **doses}}
    assert re.search(r"by \w+, \w+ \d+ Hepatitis B vaccine, second dose", words(sheet(visit)))


def test_what_is_to_be_done_within_the_hour_is_not_put_off_to_some_time_today() -> None:
    found = {"work_of_breathing": "grunting", "red_reflex.left": "white", "red_reflex.right": "present"}
    page = words(sheet({**VISIT, "findings": found}))
    assert "First: Emergency department, same-day full evaluation now" in page
    assert "Ophthalmologist, left by Sat, May 16" in page


def test_what_every_baby_is_due_stays_though_the_mothers_tests_change_its_hour() -> None:
    with_hers = {**VISIT, "at": "2026-05-11T12:00:00-05:00", "findings": {"mother_hbsag": "negative"}}
    assert "Two-month visit" in words(sheet(with_hers))
    assert "Bilirubin screen" in words(sheet(with_hers))


@pytest.mark.parametrize(
    "hers", [{}, {"mother_diabetes": "before_pregnancy", "mother_herpes": "lesions_first_episode"}]
)
def test_an_emergency_of_the_baby_is_on_it_whatever_else_speaks_for_it(hers: dict[str, Any]) -> None:
    found = {"work_of_breathing": "grunting", "temperature": {"value": 35.2, "unit": "Cel"}, **hers}
    assert "Emergency department" in words(sheet({**VISIT, "findings": found}))


def test_the_diapers_are_those_that_the_table_in_use_prints() -> None:
    """Texas WIC lesson: day 5 five wet and three soiled, from day 6 on six and three."""
    pack = load_pack()
    found = list(expected_diapers(pack, pack.assess(VISIT)))
    assert [(one.wet, one.stool) for one in found] == [(5, 3)] + [(6, 3)] * 6
    assert [one.day.day for one in found] == list(range(15, 22))


def test_every_language_has_the_same_words() -> None:
    first, *others = (family_words(language).texts for language in languages())
    for other in others:
        assert other.keys() == first.keys()
        assert [len(other[key]) for key in ("days", "months")] == [7, 12]
        assert other["pictures"].keys() == first["pictures"].keys()


def test_what_nobody_reviewed_says_that_it_is_not_for_the_family_yet() -> None:
    assert "not for the family until then" in words(sheet(VISIT, "es"))
    assert "not for the family" not in words(sheet(VISIT))


@pytest.mark.parametrize("name", NAMES)
def test_the_spanish_sheet_names_no_visit_and_no_specialist_in_english(name: str) -> None:
    page = words(shipped(name, "es"))
    spanish = load_pack().translations["es"].topics
    english = {
        shape.label for one, shape in load_pack().targets.items() if spanish.get(one, shape.label) != shape.label
    }
    assert len(english) > 200
    # A label of one word, such as that of a disease, may be the same word within a Spanish one.
    assert [label for label in english if len(label.split()) > 1 and label in page] == []
    assert not re.search(r", (left|right)\b", page)


def test_the_spanish_sheet_says_whom_the_baby_sees_and_when_to_come_in_spanish() -> None:
    page = words(shipped("red-reflex-hip-testis-day-6", "es"))
    assert "Médico de los ojos, lado " in page
    assert "Visita de los dos meses" in page


@pytest.mark.parametrize("language", ["en", "es"])
def test_what_a_person_says_alone_stands_on_no_paper_that_goes_home(language: str) -> None:
    visit = {**VISIT, "findings": {**VISIT["findings"], "bruising": "unexplained"}}
    pack = load_pack()
    proposed = {one.target for group in pack.assess(visit).do for one in group.items}
    private = {name for name, shape in pack.targets.items() if shape.private}
    assert proposed & private == {"bruising_workup", "child_protection"}
    page = words(sheet(visit, language))
    spanish = pack.translations["es"].topics
    for name in private:
        english = pack.targets[name].label
        assert english not in page
        assert getattr(spanish.get(name), "text", english) not in page


def test_a_baby_who_has_formula_alone_gets_no_picture_of_the_breast() -> None:
    fed = {how: words(sheet({**VISIT, "findings": {"feeding_type": how}})) for how in ("formula_only", "mixed")}
    assert "Latch:" not in fed["formula_only"]
    assert "Latch:" in fed["mixed"]


@pytest.mark.parametrize("own", [True, False])
def test_families_are_given_their_own_line_before_the_numbers_of_the_house(tmp_path: Path, own: bool) -> None:
    line = 'settings: {clinic_line: {words: {en: "call us at 555-0100", es: "llame al 555-0100"}}}\n'
    site = tmp_path / "site.yaml"
    site.write_text(f"site: Invented\ncontacts: {{Pediatrician on call: 555-0199}}\n{line if own else ''}")
    pack = load_pack(site=site)
    page = words(family_sheet(pack.assess(VISIT, readers=["native"]), pack, VISIT))
    assert ("To reach us: call us at 555-0100." in page) == own
    assert ("555-0199" in page) != own
