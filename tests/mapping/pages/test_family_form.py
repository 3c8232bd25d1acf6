"""The form before the visit: when to call first, each question on one form, and told is never examined."""

from __future__ import annotations

import json
import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
import textstat

from layette.engine.api import load_pack
from layette.engine.errors import InputError
from layette.mapping.cli import main
from layette.mapping.pages.exam.opened import opened
from layette.mapping.pages.family_form import family_form
from layette.mapping.pages.family_words import family_words, languages
from layette.mapping.pages.form_questions import calls_for_help, question

SIXTH = 6.9
"""The Flesch-Kincaid grade of the seventh is 7.0: what is below is the sixth."""
AT = "2026-11-28T08:00:00-06:00"
BOTH = pytest.mark.parametrize("apart", [False, True], ids=["everybody", "apart"])


def form(language: str = "en", apart: bool = False) -> str:
    return family_form(load_pack(), language, apart=apart)


def on_it(page: str) -> list[str]:
    return re.findall(r'data-finding="(\w+)"', page)


def words(page: str) -> str:
    bare = re.sub(r"<style>.*?</style>|<script>.*?</script>|<[^>]+>", " ", page, flags=re.DOTALL)
    return " ".join(unescape(bare).split())


@pytest.mark.parametrize("language", languages())
def test_every_question_of_the_family_is_on_exactly_one_form(language: str) -> None:
    findings = load_pack().findings
    asked = {name for name, shape in findings.items() if shape.ask == "family" and shape.question}
    everybody, alone = on_it(form(language)), on_it(form(language, apart=True))
    assert len(everybody) + len(alone) == len({*everybody, *alone})
    assert asked <= {*everybody, *alone}
    assert {name for name in asked if findings[name].private} == set(alone)
    assert all(findings[name].reported for name in (*everybody, *alone))


def test_what_the_examiner_looks_at_is_not_asked_on_a_form() -> None:
    findings = load_pack().findings
    looked_at = {name for name, shape in findings.items() if shape.ask == "first" and shape.question}
    assert {"cord_discharge", "moro"} <= looked_at
    assert not looked_at & {*on_it(form()), *on_it(form(apart=True))}


@BOTH
@pytest.mark.parametrize("language", languages())
def test_when_to_call_instead_stands_first_with_the_numbers(language: str, apart: bool) -> None:
    own = family_words(language)["form"]
    text, first = words(form(language, apart)), (own["apart"] if apart else own)["call"]
    asked = question(load_pack(), on_it(form(language, apart))[0], family_words(language)).text
    assert text.index(first) < text.index("911") < text.index(asked)
    assert ("988" in text) == apart


@BOTH
def test_a_form_reads_at_the_sixth_grade(apart: bool) -> None:
    told = re.findall(r"<(?:p|legend|label class=\"asked\"|h2)\b[^>]*>(.*?)</(?:p|legend|label|h2)>", form(apart=apart))
    sentences = [re.sub(r"([^.?!:])$", r"\1.", unescape(re.sub(r"<[^>]+>", "", one)).strip()) for one in told if one]
    text = re.sub(r"(\d)\.(\d)", r"\1\2", " ".join(sentences))
    assert len(text.split()) > 100
    assert textstat.flesch_kincaid_grade(text) <= SIXTH


def test_an_answer_that_cannot_wait_says_call_now_where_it_is_touched() -> None:
    found = calls_for_help(load_pack())
    assert {("vomiting", "green"), ("convulsions", "seen"), ("feeding_ability", "cannot_feed")} <= found
    assert ("vomiting", "spit_up") not in found
    page = form()
    assert page.count("→ call now") == sum(name in on_it(page) for name, _ in found)
    assert "→ call now" not in form(apart=True)
    assert form(apart=True).count(" data-call>") == sum(name in on_it(form(apart=True)) for name, _ in found)


def test_answers_alone_and_together_are_the_same() -> None:
    """What is found by looking at answers together is what each brings by itself."""
    pack, found = load_pack(), calls_for_help(load_pack())
    for name in ("feeding_ability", "vomiting", "stool_colour", "violence_at_home", "bleeding", "food_worry"):
        for value in pack.findings[name].values or ():
            visit = {"born": "2026-01-01T08:00:00Z", "at": "2026-01-05T08:00:00Z", "findings": {name: value}}
            stat = any(one.priority == "stat" for one in pack.assess(visit, readers=["native"]).recommendations)
            assert stat == ((name, value) in found), (name, value)


def test_every_language_has_the_same_words_of_the_form() -> None:
    def keys(part: Any, at: str = "") -> set[str]:
        return {at} | {one for name, inner in part.items() for one in keys(inner, f"{at}.{name}")} \
            if isinstance(part, dict) else {at}  # fmt: skip

    first, *others = (keys(family_words(language)["form"]) for language in languages())
    assert all(other == first for other in others)


def test_a_page_asks_for_nothing_and_keeps_nothing() -> None:
    page = form()
    assert not re.search(r"(?:src|href|action)=|https?:|fetch|Storage|cookie", page)


# --- what the exam page takes of it


def answers(findings: dict[str, Any], head: dict[str, Any] | None = None) -> bytes:
    return json.dumps({"layette_told": 1, "at": AT, "findings": findings, **(head or {})}).encode()


def test_answers_come_as_told_and_never_as_examined() -> None:
    given = {
        "wet_diapers": {"value": "5", "unit": "/d"},
        "vomiting": {"value": "green", "reported": False, "charted_by": "skin_examination", "origin": "Observation/1"},
        "family_questions": {"value": "asked", "text": "When can we bathe her?", "reported": True},
        "housing": {"absent": "asked-declined"},
    }
    made = opened(answers(given), load_pack())
    assert made["told"] is True
    assert {one["finding"] for one in made["records"]} == given.keys()
    for one in made["records"]:
        assert one["what"]["fields"]["reported"] is True
        assert one["what"]["fields"]["time"] == AT
        assert not one["what"].keys() & {"by"}
    by_name = {one["finding"]: one["what"] for one in made["records"]}
    assert by_name["family_questions"]["fields"]["text"] == "When can we bathe her?"
    assert by_name["housing"]["absent"] == "asked-declined"
    assert by_name["wet_diapers"]["value"] == "5"


def test_what_a_family_cannot_report_is_refused() -> None:
    with pytest.raises(InputError) as refused:
        opened(answers({"red_reflex": {"value": "present"}, "no_such": {"value": "x"}, "wet_diapers": 5}), load_pack())
    assert {one.path for one in refused.value.problems} == {
        "findings.red_reflex", "findings.no_such", "findings.wet_diapers",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("head", "path"),
    [
        ({"layette_told": 9}, "layette_told"), ({"at": "yesterday"}, "at"), ({"at": "2026-11-28T08:00:00"}, "at"),
        ({"born": 3}, "born"), ({"findings": []}, "findings"),
    ],
)  # fmt: skip
def test_a_broken_file_says_what_is_wrong(head: dict[str, Any], path: str) -> None:
    with pytest.raises(InputError) as refused:
        opened(answers({}, head), load_pack())
    assert [one.path for one in refused.value.problems] == [path]


def test_answers_for_another_baby_are_refused() -> None:
    told = answers({"stools": {"value": "3", "unit": "/d"}}, {"born": "2026-11-24"})
    assert opened(told, load_pack(), born="2026-11-24T08:30:00-06:00")["born"] == "2026-11-24"
    with pytest.raises(InputError, match="another day"):
        opened(told, load_pack(), born="2026-11-20")


# --- the command


def test_the_command_writes_both_forms(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["family-form", "--out", str(tmp_path / "form.html"), "--language", "es"]) == 0
    assert (tmp_path / "form.html").read_text("utf-8") == form("es")
    assert main(["family-form", "--out", str(tmp_path / "apart.html"), "--apart"]) == 0
    assert (tmp_path / "apart.html").read_text("utf-8") == form(apart=True)
    assert main(["family-form", "--out", str(tmp_path / "form.txt")]) == 2
    assert main(["family-form", "--out", str(tmp_path / "form.html"), "--language", "fr"]) == 2
    assert "one of" in capsys.readouterr().err
