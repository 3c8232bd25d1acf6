"""A value that could not be read, of what can bring an emergency, stands in the verdict: it is an action by itself."""

from __future__ import annotations

from typing import Any

import pytest
from support.read_samples import AT, concept, observation, own, visit_bundle

from layette.engine import Assessment, load_pack
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.states.plan import StatesPlan
from layette.mapping.answering import answer
from layette.mapping.read import read

FLAGS = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
CRITICAL = {"interpretation": [concept(FLAGS, "HH")]}


def assessed(*resources: dict[str, Any]) -> Assessment:
    return answer(visit_bundle(*resources), load_pack(), readers=["native"]).assessment


def numbers_behind_emergencies() -> list[str]:
    pack = load_pack()
    behind = AnswerPlan(StatesPlan(pack)).behind_emergencies
    shapes = {name: pack.findings[name] for name in sorted(behind)}
    return [name for name, shape in shapes.items() if shape.number is not None and shape.readings is None]


@pytest.mark.parametrize("finding", numbers_behind_emergencies())
def test_a_critical_flag_without_its_number_stands_in_the_verdict(finding: str) -> None:
    shape = load_pack().findings[finding]
    verdict = assessed(observation(own(finding), **CRITICAL)).verdict
    assert (verdict.unread, verdict.pressing) == (1, True)
    assert shape.label in verdict.text
    assert "Nothing pressing" not in verdict.text


@pytest.mark.parametrize("said", ["hot to touch", "38,6 C", "38.6", "about 39 C"])
def test_a_temperature_in_words_stands_in_the_verdict(said: str) -> None:
    verdict = assessed(observation(own("temperature"), valueString=said)).verdict
    assert verdict.text.startswith("1 value could not be read, look before they leave: Temperature.")


def test_what_was_taken_back_or_found_at_another_visit_is_no_action_of_today() -> None:
    back = observation(own("temperature"), valueString="hot", status="entered-in-error")
    before = observation(own("temperature"), valueString="hot", effectiveDateTime="2026-11-21T09:00:00-06:00")
    earlier = {key: value for key, value in before.items() if key != "encounter"}
    assert [assessed(one).verdict.unread for one in (back, earlier)] == [0, 0]


def test_what_can_bring_no_emergency_is_told_and_does_not_press() -> None:
    found = assessed(observation(own("head_circumference"), valueString="usual"))
    assert found.verdict.unread == 0
    assert any("kept, not understood: usual" in warning for warning in found.warnings)


def test_a_flat_visit_carries_it_on() -> None:
    visit = read(visit_bundle(observation(own("temperature"), valueString="hot")), load_pack()).require().visit
    assert visit["not_understood"][0]["finding"] == "temperature"
    assert load_pack().assess(visit, readers=["native"]).verdict.unread == 1
    assert visit["at"] == AT
