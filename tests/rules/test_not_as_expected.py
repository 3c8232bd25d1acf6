"""What everybody is looked at or asked for and is not as expected brings something, or a list says why not."""

from __future__ import annotations

import pytest
from support.told_alone import DAY_4, DAY_28, pressing, told_alone

from layette.engine import load_pack
from layette.engine.pack.written.shapes import FindingShape, listed

WITH_ANOTHER = "it says something only beside another finding, which is asked for"
NOT_KNOWN = "nobody knows it, and it stays among what is open"
USUAL = "it is one of several usual ways"
CALM = {
    ("varicella_contact", "present"): WITH_ANOTHER, ("pertussis_treatment", "given"): USUAL,
    ("pertussis_treatment", "not_given"): WITH_ANOTHER, ("sleep_place", "own_bed_other_room"): USUAL,
    ("water_heater", "not_known"): NOT_KNOWN, ("consolability", "hard_to_console"): USUAL,
    ("supplementation", "none"): USUAL, ("supplementation", "own_milk"): USUAL,
    ("supplementation", "donor_milk"): USUAL, ("supplementation", "formula"): WITH_ANOTHER,
    ("vitamin_d", "not_given"): WITH_ANOTHER, ("eye_discharge", "watery"): WITH_ANOTHER,
    ("eye_discharge", "sticky"): WITH_ANOTHER, ("eye_family_history", "not_known"): NOT_KNOWN,
    ("ear_position", "low_or_turned_back"): WITH_ANOTHER, ("tongue", "tied"): WITH_ANOTHER,
    ("breech_third_trimester", "not_known"): NOT_KNOWN, ("hip_family_history", "not_known"): NOT_KNOWN,
}  # fmt: skip
"""Values that bring nothing by themselves, with the reason; a new value stands here, or a rule acts on it."""


def _odd(shape: FindingShape) -> list[str]:
    expected = listed(shape.expected)
    return [value for value in shape.values or () if value not in expected]


VALUES = [
    (name, value)
    for name, shape in load_pack().findings.items()
    if shape.ask in ("first", "family")
    for value in _odd(shape)
]


def brings(name: str, value: str, moment: str) -> bool:
    return bool(pressing(told_alone(name, value, moment), name, words=True))


@pytest.mark.parametrize(("name", "value"), VALUES)
def test_what_is_not_as_expected_brings_something(name: str, value: str) -> None:
    found = brings(name, value, DAY_4) or brings(name, value, DAY_28)
    assert found != ((name, value) in CALM)
