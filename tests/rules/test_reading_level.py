"""Families of every schooling can read it: the plain words are at or below the eighth grade, in both languages there.

The measure is the Flesch-Kincaid grade, 0.39 x words per sentence + 11.8 x syllables per word - 15.59, with syllables
from a pronouncing dictionary. On a handful of words it means little, so a text is judged by itself from 20 words on;
shorter ones are read one after the other, file by file, and judged together. A short text can still not hide a long
sentence, which is counted in each of them.
"""

from __future__ import annotations

import re
from collections import defaultdict

import pytest
import textstat
from support.pack_words import Text, english, plain

GRADE = 8.0
"""The highest grade that a text may need; sixth to eighth grade, or easier."""
ALONE = 20
"""Words from which on a text is judged by itself."""
LONGEST = 26
"""The most words of one sentence."""

ENGLISH = sorted(english())
LONG = [one for one in ENGLISH if len(one[1].split()) >= ALONE]


def readable(text: str) -> str:
    """Return a text without what a counter of sentences takes for an end of one: the point inside a number."""
    return re.sub(r"(\d)\.(\d)", r"\1\2", text)


def grade(text: str) -> float:
    """Return the Flesch-Kincaid grade."""
    return float(textstat.flesch_kincaid_grade(readable(text)))


def together() -> list[Text]:
    """Return the short texts of each file as one text; a file with few of them joins the next one."""
    by_file: dict[str, list[str]] = defaultdict(list)
    for place, text in ENGLISH:
        if len(text.split()) < ALONE:
            by_file[place.split(" ")[0]].append(text)
    joined: list[Text] = []
    names, texts = [], []
    for file, found in sorted(by_file.items()):
        names.append(file)
        texts += found
        if len(" ".join(texts).split()) >= 5 * ALONE:
            joined.append((", ".join(names), " ".join(texts)))
            names, texts = [], []
    return joined if not texts else [*joined, (", ".join(names), " ".join(texts))]


def test_the_measure_knows_hard_from_easy_without_a_network() -> None:
    hard = "Immunization administration necessitates appropriate documentation of contraindications and precautions."
    assert grade("Wash your hands before you hold the baby. Call us if you are worried.") < 4 < GRADE < grade(hard)
    assert textstat.sentence_count(readable("Call us at 100.4 F (38.0 C) or more, day or night.")) == 1


@pytest.mark.parametrize(("place", "text"), LONG, ids=[place for place, _ in LONG])
def test_a_text_needs_at_most_the_eighth_grade(place: str, text: str) -> None:
    assert grade(text) <= GRADE


@pytest.mark.parametrize(("place", "text"), together(), ids=[place for place, _ in together()])
def test_short_texts_need_at_most_the_eighth_grade_together(place: str, text: str) -> None:
    assert grade(text) <= GRADE


def test_no_sentence_is_long() -> None:
    counted = {
        f"{place}: {sentence}": len(sentence.split())
        for place, text in ENGLISH
        for sentence in re.split(r"(?<=[.!?:;])\s+", text)
    }
    assert {sentence: words for sentence, words in counted.items() if words > LONGEST} == {}


def test_spanish_stands_beside_the_english_and_awaits_review() -> None:
    lacking = [place for place, texts in plain() if "en" not in texts or "es" not in texts]
    assert lacking == []
    unmarked = [place for place, texts in plain() if not isinstance(texts["es"], dict) or not texts["es"].get("review")]
    assert unmarked == []


def test_no_spanish_text_is_the_english_one() -> None:
    same = [place for place, texts in plain() if _bare(texts["es"]["text"]) == _bare(texts["en"])]
    assert same == []


def _bare(text: str) -> str:
    return re.sub(r"\W+", "", text).casefold()
