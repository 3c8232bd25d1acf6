"""The words for the family while examining: in the order of the exam, about what was found, and never too many."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from support.checkout import ROOT

from layette.engine.api import Pack, load_pack
from layette.mapping.cli import main
from layette.mapping.text.saying import render_saying

BORN, AT = "2026-11-20T08:30:00-06:00", "2026-11-24T10:00:00-06:00"
CLICK = "A click with a stable hip is harmless."
STABLE = {"hip_click.both": "click", "ortolani.both": "negative", "barlow.both": "negative"}


@cache
def pack() -> Pack:
    """Return the pack that ships."""
    return load_pack()


def said(findings: dict[str, Any], **how: Any) -> str:
    """Return the words for a visit with these findings."""
    visit = pack().read_visit({"born": BORN, "at": AT, "sex_at_birth": "female", "findings": findings})
    found = pack().assess({"born": BORN, "at": AT, "sex_at_birth": "female", "findings": findings}, readers=("native",))
    return render_saying(found, pack(), visit, **how)


def flat(text: str) -> str:
    """Return a text on one line."""
    return " ".join(text.split())


def headings(text: str) -> list[str]:
    """Return the labels of the areas printed."""
    lines = text.splitlines()
    labels = {area.label for area in pack().areas}
    return [name for line in lines if not line.startswith(" ") and (name := line.split(":")[0]) in labels]


def test_the_areas_stand_in_the_order_of_the_exam() -> None:
    order = [area.label for area in pack().areas]
    printed = headings(said({}))
    assert printed == [label for label in order if label in printed]
    assert {"Eyes", "Head", "Belly and cord"} <= set(printed)


def test_two_screens_hold_the_words_of_an_empty_visit() -> None:
    lines = said({}).splitlines()
    assert len(lines) <= 110
    assert max(map(len, lines)) <= 100


@pytest.mark.parametrize("width", [40, 72, 200])
def test_no_line_is_wider_than_asked(width: int) -> None:
    assert max(map(len, said(STABLE, width=width, full=True).splitlines())) <= width


def test_a_normal_variant_is_explained_once_for_both_sides() -> None:
    assert flat(said(STABLE)).count(f"Click of the hip, left and right: {CLICK}") == 1


def test_a_side_that_differs_is_named_alone() -> None:
    assert f"Click of the hip, left: {CLICK}" in flat(said({"hip_click.left": "click", "hip_click.right": "none"}))


def test_what_is_not_normal_gets_no_comforting_words() -> None:
    text = flat(said({"red_reflex.left": "white"}))
    assert "ACT FIRST on what cannot wait: Ophthalmologist." in text
    assert "Red reflex, left" not in text


def test_a_value_that_is_not_exactly_known_explains_nothing() -> None:
    assert "comes and goes" not in said({"newborn_rash": {"absent": "not-performed"}})


def test_a_proviso_of_a_rule_does_not_get_its_words() -> None:
    text = said({"newborn_rash": "present", "vesicles": "none", "pustules": "none"})
    assert "Small blisters with clear fluid:" not in text
    assert "Newborn rash (erythema toxicum): This rash" in text


def test_what_was_recorded_as_none_needs_no_words_unless_it_is_open() -> None:
    assert "tiny white dots" not in said({"milia": "none"}, full=True)
    assert "tiny white dots" in said({"milia": "present"}, full=True)


def test_an_older_visit_is_not_talked_about() -> None:
    flat_visit = {"born": BORN, "at": AT, "sex_at_birth": "female", "findings": {}}
    flat_visit["history"] = {"findings": {"hip_click.left": {"value": "click", "time": "2026-11-22T09:00:00-06:00"}}}
    found = pack().assess(flat_visit, readers=("native",))
    assert CLICK not in flat(render_saying(found, pack(), pack().read_visit(flat_visit), full=True))


def test_cut_short_the_most_pressing_look_is_kept_and_the_rest_counted() -> None:
    short, whole = said({}), said({}, full=True)
    assert "look for an even glow" in flat(short)
    assert "--all)" in short
    assert "--all)" not in whole
    assert len(whole.splitlines()) > len(short.splitlines())


def test_another_language_is_used_for_what_was_found_and_awaits_review() -> None:
    text = flat(said(STABLE, language="es"))
    assert "Un chasquido con la cadera firme es inofensivo. Revisamos las caderas otra vez en cada visita." in text
    extra = flat(said({**STABLE, "fingers_toes": "extra"}, language="es", full=True))
    assert "Cuento diez dedos de las manos y diez de los pies, y los separo. [awaits review]" in extra
    assert "[awaits review]: not for the family yet" in text
    assert "awaits review" not in flat(said(STABLE))
    assert flat(said(STABLE, language="xx")).count(CLICK) == 1


def test_each_area_with_nothing_to_say_is_left_out() -> None:
    visit = {"born": BORN, "at": AT, "findings": {}}
    found = pack().assess(visit, readers=("native",))
    found = found.model_copy(update={"recommendations": (), "to_chase": ()}).explained_by({})
    text = render_saying(found, pack(), pack().read_visit(visit))
    assert headings(text) == []
    assert "Nothing was recorded and nothing is open" in text


def test_the_command_prints_the_words(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assess", str(ROOT / "examples/healthy-day-4.json"), "--say", "--readers", "native"]) == 0
    out, err = capsys.readouterr()
    assert out.startswith("TO SAY WHILE EXAMINING")
    assert "entries read" in err


def test_the_command_prints_the_words_in_the_language_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    example = str(ROOT / "examples/healthy-day-4.json")
    assert main(["assess", example, "--say", "--language", "es", "--readers", "native"]) == 0
    out, _ = capsys.readouterr()
    assert "Language: es; English where the pack has no words in it." in out
    assert "Le pregunto si su bebé tiene una cama propia. [awaits review]" in flat(out)
    for other in (["--language", "es", "--to", "json"], ["--language", "xx"]):
        assert main(["assess", example, *other, "--readers", "native"]) == 2
        assert "--language" in capsys.readouterr().err


def test_the_page_tells_the_family_in_the_language_asked_for_and_says_what_awaits_review(
    capsys: pytest.CaptureFixture[str],
) -> None:
    example = str(ROOT / "examples/healthy-day-4.json")
    assert main(["assess", example, "--language", "es", "--readers", "native"]) == 0
    short = flat(capsys.readouterr().out)
    assert "TO TELL THE FAMILY, in es: [awaits review] is not for the family yet" in short
    assert "Alimentación Comer cuando muestre hambre, de 8 a 12 veces al día" in short
    assert "NORMAL AT THIS AGE Pérdida de peso de los primeros días" in short
    assert main(["assess", example, "--language", "es", "--all", "--readers", "native"]) == 0
    whole = flat(capsys.readouterr().out)
    assert "Acueste a su bebé boca arriba cada vez que duerma" in whole
    assert "también si regurgita. [awaits review]" in whole
    assert "llame o envíe un mensaje de texto al 988 de inmediato" in whole


def test_the_words_are_text_only(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["assess", str(ROOT / "examples/healthy-day-4.json"), "--say", "--to", "json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "--say" in err
