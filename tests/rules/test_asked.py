"""How each finding of the pack is asked: a class for each, labels of values, words and skills where needed."""

from __future__ import annotations

from functools import cache

from layette.engine.api import Pack, load_pack
from layette.engine.pack.alone import Alone
from layette.engine.pack.written.shape import Translation

WITH_WORDS_OF_THEIR_OWN = {
    "epds_total", "epds_self_harm_item", "phq2_total", "phq9_self_harm_item",
}  # fmt: skip
"""What the family tells in the words of a printed questionnaire, which are not ours to give."""
NEEDS_SKILL = (
    "red_reflex barlow ortolani palate suck_reflex anterior_fontanelle femoral_pulse breathing_rate pulse_oximetry "
    "tone rooting_reflex moro palmar_grasp plantar_grasp stepping_reflex tonic_neck galant babinski testis "
    "bowel_sounds belly"
)
ALONE_WITH_THE_MOTHER = "mood_concern harm_thoughts_infant psychosis_signs violence_at_home substance_use_at_home"


@cache
def pack() -> Pack:
    """Return the pack that ships."""
    return load_pack()


def test_each_finding_says_when_it_comes_up() -> None:
    assert [name for name, shape in pack().findings.items() if shape.ask is None] == []


def test_what_alone_can_bring_stat_comes_up_without_being_called_for() -> None:
    alone = Alone(pack().compiled, pack().subjects)
    pressing = {name for name in pack().findings if next(alone.brings_stat(name), None)}
    assert {name for name in pressing if pack().findings[name].ask not in ("first", "record", "family")} == set()
    assert {"epds_total", "epds_self_harm_item", "phq9_self_harm_item", "jaundice_onset_age", "red_reflex"} <= pressing


def test_every_value_has_a_label_in_both_languages() -> None:
    nameless = [
        f"{name}: {value}"
        for name, shape in pack().findings.items()
        for value in (*(shape.values or ()), *pack().subjects.coarse(name))
        if pack().label_of_value(name, value) is None
    ]
    assert nameless == []


def test_labels_of_the_values_of_one_finding_differ() -> None:
    for language in ("en", "es"):
        for name, shape in pack().findings.items():
            labels = [getattr(pack().label_of_value(name, value), language) for value in shape.values or ()]
            assert len(labels) == len(set(labels)), (name, labels)


def test_labels_are_set_like_labels() -> None:
    labels = [
        *pack().value_labels.values(),
        *(one for s in pack().findings.values() for one in s.value_labels.values()),
    ]
    texts = [text for one in labels for text in (one.en, one.es)]
    assert [text for text in texts if text != text.strip() or text.endswith(".") or text[0].islower()] == []


def test_what_the_family_tells_has_a_question_in_both_languages() -> None:
    told = {name for name, shape in pack().findings.items() if shape.ask == "family"}
    assert {name for name in told if pack().findings[name].question is None} == WITH_WORDS_OF_THEIR_OWN
    questions = {name: shape.question for name, shape in pack().findings.items() if shape.question}
    assert [name for name, one in questions.items() if not one.en.endswith((".", "?")) or one.en == one.spanish] == []
    assert [name for name, one in questions.items() if not isinstance(one.es, Translation)] == []


def test_what_is_told_alone_is_asked_alone() -> None:
    private = {name for name, shape in pack().findings.items() if shape.private}
    assert set(ALONE_WITH_THE_MOTHER.split()) | WITH_WORDS_OF_THEIR_OWN <= private


def test_a_skill_is_described_in_two_sentences_with_its_source() -> None:
    described = {name: shape.how for name, shape in pack().findings.items() if shape.how}
    assert [name for name in NEEDS_SKILL.split() if name not in described] == []
    assert [name for name, how in described.items() if how.text.count(". ") != 1 or not how.text.endswith(".")] == []


def test_no_system_charted_as_normal_fills_an_emergency_that_takes_a_hand() -> None:
    filled = {name for normal in pack().normals.values() for name in normal.spreads}
    assert {name for name in filled if pack().findings[name].by_hand} == set()
    assert {"red_reflex", "femoral_pulse", "testis", "anus", "ortolani", "palate"} & filled == set()
