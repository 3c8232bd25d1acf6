"""Whatever a family is told, it is told in every language of the pack, with the same numbers, to the same person."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache

import pytest

from layette.engine import Pack, load_pack
from layette.engine.pack.family_texts import FamilyText, family_texts
from layette.engine.pack.written.spoken import filled, placeholders

FAMILIAR = r"\b(tú|tus?|ti|te|contigo|vosotros|vuestr[oa]s?|os|vos)\b"
"""Words with which Spanish speaks to a friend or in Spain; a family here is addressed as usted."""
ENGLISH = r"\b(the|your|baby|and|with|is|are|of)\b"


@cache
def pack() -> Pack:
    """Return the pack that ships."""
    return load_pack()


@cache
def texts() -> tuple[FamilyText, ...]:
    """Return every text for families."""
    return tuple(family_texts(pack()))


def numbers(text: str) -> Counter[str]:
    """Return the numbers in figures, without those that stand in braces."""
    return Counter(re.findall(r"\d+(?:[.,]\d+)?", re.sub(r"\{[^}]*\}", "", text)))


def test_there_are_texts_of_every_kind() -> None:
    assert {one.kind for one in texts()} == {"say", "variant", "plain", "label", "heading", "words"}
    assert len(texts()) > 400


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_text_for_families_stands_in_every_language(language: str) -> None:
    assert language in pack().shape.languages
    assert [one.place for one in texts() if language not in one.texts or not one.texts[language].text.strip()] == []


def test_the_numbers_of_both_languages_agree() -> None:
    differ = {
        one.place: (dict(english - spanish), dict(spanish - english))
        for one in texts()
        for english, spanish in [(numbers(one.texts["en"].text), numbers(one.texts["es"].text))]
        if english != spanish
    }
    assert differ == {}


def test_numbers_are_compared_at_all() -> None:
    assert numbers("100.4 F (38.0 C), {setting.line_2}, 8 to 12") == Counter(["100.4", "38.0", "8", "12"])
    assert sum(1 for one in texts() if numbers(one.texts["en"].text)) > 30


def test_both_languages_name_the_same_settings() -> None:
    named = {
        one.place: [sorted(placeholders(one.texts[language].text)) for language in ("en", "es")] for one in texts()
    }
    assert [place for place, (english, spanish) in named.items() if english != spanish] == []
    assert sum(bool(english) for english, _ in named.values()) >= 5


def test_whatever_is_chosen_no_text_is_left_with_a_hole() -> None:
    settings = pack().settings
    usual = {name: shape.default for name, shape in settings.items()}
    said = [(name, slug) for name, shape in settings.items() for slug, choice in shape.choices.items() if choice.words]
    assert len(said) >= 7
    for name, slug in said:
        for one in texts():
            for language, text in one.texts.items():
                told = filled(text, language, settings, usual | {name: slug}).text
                assert not re.search(r"[{}]|  |\.\.", told), (one.place, told)


def test_every_translation_awaits_review_until_somebody_signs_it() -> None:
    """A number alone needs no reader; every sentence does."""
    unmarked = [one.place for one in texts() if not one.texts["es"].review and re.search("[a-z]", one.texts["es"].text)]
    assert unmarked == []


def test_a_family_is_addressed_as_usted_and_nothing_was_left_in_english() -> None:
    spanish = {one.place: one.texts["es"].text for one in texts()}
    assert {place: text for place, text in spanish.items() if re.search(FAMILIAR, text, re.IGNORECASE)} == {}
    assert {place: text for place, text in spanish.items() if re.search(ENGLISH, text, re.IGNORECASE)} == {}


def test_spanish_sentences_are_short() -> None:
    long = {
        sentence
        for one in texts()
        for sentence in re.split(r"(?<=[.!?:;])\s+", one.texts["es"].text)
        if len(sentence.split()) > 32
    }
    assert long == set()


def test_a_question_or_a_cry_is_opened_where_it_is_closed() -> None:
    spanish = {one.place: one.texts["es"].text for one in texts()}
    odd = [place for place, text in spanish.items() for a, b in ("¿?", "¡!") if text.count(a) != text.count(b)]
    assert odd == []


def test_every_step_system_and_finding_is_called_something_in_every_language() -> None:
    for language in pack().shape.languages[1:]:
        words = pack().translations[language]
        assert [area.area for area in pack().areas if not {area.area} <= words.areas.keys() & words.steps.keys()] == []
        assert pack().normals.keys() == words.systems.keys()
        assert pack().findings.keys() == words.labels.keys()


def test_the_names_keep_their_numbers() -> None:
    spanish = pack().translations["es"].labels
    differ = {
        name: (shape.label, spanish[name].text)
        for name, shape in pack().findings.items()
        if numbers(shape.label) != numbers(spanish[name].text) and name != "apgar_1"  # "al minuto"
    }
    assert differ == {}
