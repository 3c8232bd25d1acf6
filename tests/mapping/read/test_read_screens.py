"""Screens: abnormal answers as well as normal ones, and an answer that nobody could read is never 'not done'."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest
from support.foreign import foreign
from support.read_samples import LOINC, OWN, SNOMED, bundle, concept, encounter, loinc, observation, patient

from layette.engine import Pack, load_pack
from layette.mapping.answering import Answer, answer
from layette.mapping.codes import INTERPRETATION
from layette.mapping.fhir_json import dumps
from layette.mapping.read import read

OVERALL, LEFT, OXYGEN = loinc("57130-7"), loinc("54108-6"), loinc("73700-7")
BLOODSPOT_ORDERS = {"bloodspot_collection", "bloodspot_repeat"}


@cache
def pack() -> Pack:
    return load_pack()


def readings(code: dict[str, Any], **fields: Any) -> list[tuple[str, Any, Any]]:
    """Return finding, value and side of what one Observation with this code gives."""
    found = read(bundle(patient(), encounter(), observation(code, **fields)), pack())
    assert found.problems == ()
    items = found.visit.get("findings", {}).items()
    return [(name, one.get("value"), one.get("side")) for name, several in items for one in several]


def assessed(code: dict[str, Any], **fields: Any) -> Answer:
    content = bundle(patient(), encounter(), observation(code, **fields))
    return answer(dumps(content).encode(), pack(), readers=("native",))


@pytest.mark.parametrize("name", ["abnormal-1", "abnormal-2"])
def test_an_abnormal_screening_message_is_followed_up_and_never_collected_again(name: str) -> None:
    found = answer(foreign(f"screening-result-{name}.json"), pack(), readers=("native",)).assessment
    assert found is not None
    asked = {one.target: one.priority for one in found.recommendations}
    assert asked["newborn_screening_program"] in ("stat", "asap", "urgent")
    assert not BLOODSPOT_ORDERS & asked.keys()
    assert "bloodspot" not in {one.finding for one in found.due}


def test_a_normal_screening_message_brings_neither() -> None:
    found = answer(foreign("screening-result-normal.json"), pack(), readers=("native",)).assessment
    assert found is not None
    asked = {one.target for one in found.recommendations} | {one.target for one in found.to_judge}
    assert not asked & {"newborn_screening_program", "metabolic_specialist", *BLOODSPOT_ORDERS}
    assert "bloodspot" not in {one.finding for one in found.due}


ANSWERS = [
    (OVERALL, "LA12428-1", "bloodspot_result", "in_range"),
    (OVERALL, "LA18592-8", "bloodspot_result", "in_range"),
    (OVERALL, "LA18944-1", "bloodspot_result", "out_of_range"),
    (OVERALL, "LA16205-9", "bloodspot_result", "unsatisfactory"),
    (OVERALL, "LA0-0", "bloodspot_result", "not_understood"),
    (loinc("46737-3"), "LA18593-6", "bloodspot_result", "galactosemia"),
    (loinc("57131-5"), "LA12538-7", "bloodspot_result", "low_thyroid"),
    (loinc("57131-5"), "LA0-0", "bloodspot_result", "not_understood"),
    (OXYGEN, "LA18592-8", "oximetry_result", "pass"),
    (OXYGEN, "LA18593-6", "oximetry_result", "did_not_pass"),
    (OXYGEN, "LA0-0", "oximetry_result", "not_understood"),
]


@pytest.mark.parametrize(("code", "said", "finding", "value"), ANSWERS)
def test_a_coded_answer(code: dict[str, Any], said: str, finding: str, value: str) -> None:
    assert readings(code, valueCodeableConcept=concept(LOINC, said)) == [(finding, value, None)]


@pytest.mark.parametrize("word", ["Pass", "Refer", "Fail", "passed", "did not pass", "machine broke"])
def test_hearing_in_words(word: str) -> None:
    value = {"pass": "pass", "passed": "pass", "machine broke": "not_understood"}.get(word.lower(), "did_not_pass")
    assert readings(LEFT, valueString=word) == [("hearing_screen", value, "left")]
    assert readings(LEFT, valueCodeableConcept={"text": word}) == [("hearing_screen", value, "left")]


@pytest.mark.parametrize(("code", "value"), [("17621005", "pass"), ("263654008", "abnormal")])
def test_hearing_in_general_codes(code: str, value: str) -> None:
    assert readings(LEFT, valueCodeableConcept=concept(SNOMED, code)) == [("hearing_screen", value, "left")]


@pytest.mark.parametrize("code", ["46737-3", "57131-5", "57718-9"])
@pytest.mark.parametrize("said", ["LA18592-8", "LA137-2", "LA12432-3"])
def test_in_range_for_one_condition_says_nothing_of_the_others(code: str, said: str) -> None:
    assert readings(loinc(code), valueCodeableConcept=concept(LOINC, said)) == []


@pytest.mark.parametrize("letter", ["N", "A"])
def test_an_interpretation_alone_is_no_result(letter: str) -> None:
    given = [concept(INTERPRETATION, letter)]
    assert readings(OVERALL, interpretation=given) == [("bloodspot_result", "not_understood", None)]


def test_an_interpretation_beside_a_value_changes_nothing() -> None:
    value = concept(LOINC, "LA18944-1")
    found = readings(OVERALL, valueCodeableConcept=value, interpretation=[concept(INTERPRETATION, "N")])
    assert found == [("bloodspot_result", "out_of_range", None)]


def test_a_code_of_one_condition_without_a_value_states_nothing() -> None:
    assert readings(loinc("46737-3")) == []


def test_a_screen_not_passed_without_a_side_is_to_be_looked_up_for_both() -> None:
    own = concept(OWN, "hearing_screen")
    both = [("hearing_screen", "not_understood", "left"), ("hearing_screen", "not_understood", "right")]
    assert readings(own, valueString="refer") == both
    assert readings(own, valueString="pass") == []


UNREAD = [
    (OVERALL, "metabolic_specialist", "newborn_screening_program", "screens.bloodspot-not-understood"),
    (LEFT, "audiology", "hearing_rescreen_test", "screens.hearing-not-passed"),
    (OXYGEN, "cardiology", "oximetry_screen", "screens.oximetry-not-understood"),
]


@pytest.mark.parametrize(("code", "judged", "target", "rule"), UNREAD)
def test_an_answer_that_is_not_understood_is_followed_up_and_to_judge(
    code: dict[str, Any], judged: str, target: str, rule: str
) -> None:
    found = assessed(code, valueCodeableConcept=concept(LOINC, "LA0-0", "hum")).assessment
    assert found is not None
    assert judged in {one.target for one in found.to_judge}
    assert (target, rule) in {(one.target, why.rule) for one in found.recommendations for why in one.reasons}
    assert not BLOODSPOT_ORDERS & {one.target for one in found.recommendations if code == OVERALL}
