"""A number at the far end of what can be measured is never passed over: it brings something, or a list says why not."""

from __future__ import annotations

from fractions import Fraction

import pytest
from support.told_alone import DAY_4, DAY_28, pressing, told_alone

from layette.engine import load_pack
from layette.engine.terms import PRIORITIES

LOW, HIGH = 0, 1

STAT = {
    ("temperature", LOW), ("temperature", HIGH), ("heart_rate", LOW), ("heart_rate", HIGH), ("breathing_rate", LOW),
    ("breathing_rate", HIGH), ("oxygen_saturation", LOW), ("blood_sugar", LOW), ("blood_sugar", HIGH),
    ("blood_sugar_after_feed", LOW), ("blood_sugar_after_feed", HIGH), ("feeds_per_day", LOW),
    ("serum_bilirubin", HIGH), ("jaundice_onset_age", LOW), ("epds_total", HIGH), ("epds_self_harm_item", HIGH),
    ("phq9_self_harm_item", HIGH),
}  # fmt: skip
"""The ends that are an emergency whatever else is known of a newborn of four days."""

BACKGROUND = "it is what other numbers are read by"
GOOD = "it is the good end, or nothing that was counted"
BESIDE = "it says nothing without the finding that it measures, which is asked for"
UNLIKELY = "it is a slip: nothing in a newborn is near it, and no published line"
CALM = {
    ("gestational_age", LOW): BACKGROUND, ("gestational_age", HIGH): BACKGROUND, ("birth_weight", HIGH): BACKGROUND,
    ("birth_length", LOW): BACKGROUND, ("birth_length", HIGH): BACKGROUND, ("birth_head", LOW): BACKGROUND,
    ("birth_head", HIGH): BACKGROUND, ("apgar_1", LOW): BACKGROUND, ("apgar_1", HIGH): GOOD, ("apgar_5", HIGH): GOOD,
    ("discharge_age", LOW): BACKGROUND, ("discharge_age", HIGH): BACKGROUND, ("bilirubin_at_discharge", LOW): GOOD,
    ("membranes_broken", LOW): GOOD, ("membranes_broken", HIGH): BACKGROUND, ("epds_total", LOW): GOOD,
    ("epds_self_harm_item", LOW): GOOD, ("phq2_total", LOW): GOOD, ("phq9_total", LOW): GOOD,
    ("phq9_self_harm_item", LOW): GOOD, ("oxygen_saturation", HIGH): GOOD, ("weight", HIGH): UNLIKELY,
    ("length", LOW): UNLIKELY, ("length", HIGH): UNLIKELY, ("feeds_per_day", HIGH): GOOD,
    ("formula_volume", LOW): BESIDE, ("wet_diapers", HIGH): GOOD, ("stools", LOW): BESIDE, ("stools", HIGH): GOOD,
    ("minutes_per_feed", LOW): BESIDE, ("minutes_per_feed", HIGH): BESIDE, ("formula_per_feed", LOW): BESIDE,
    ("formula_per_feed", HIGH): BESIDE, ("jaundice_onset_age", HIGH): BACKGROUND,
    ("transcutaneous_bilirubin", LOW): GOOD, ("serum_bilirubin", LOW): GOOD, ("direct_bilirubin", LOW): GOOD,
    ("conjugated_bilirubin", LOW): GOOD, ("albumin", LOW): BACKGROUND, ("albumin", HIGH): BACKGROUND,
    ("phototherapy_start_age", LOW): BACKGROUND, ("phototherapy_start_age", HIGH): BACKGROUND,
    ("line_at_phototherapy_start", LOW): BACKGROUND, ("line_at_phototherapy_start", HIGH): BACKGROUND,
    ("charted_treatment_line", LOW): BACKGROUND, ("charted_treatment_line", HIGH): BACKGROUND,
    ("hemangioma_width", LOW): BESIDE, ("hemangioma_width", HIGH): BESIDE, ("hemangioma_count", LOW): GOOD,
    ("hemangioma_count", HIGH): BESIDE, ("port_wine_width", LOW): BESIDE, ("port_wine_width", HIGH): BESIDE,
    ("cafe_au_lait_count", LOW): GOOD, ("cafe_au_lait_count", HIGH): BESIDE, ("cafe_au_lait_width", LOW): BESIDE,
    ("cafe_au_lait_width", HIGH): BESIDE, ("birthmark_width", LOW): BESIDE, ("birthmark_width", HIGH): BESIDE,
    ("anterior_fontanelle_size", LOW): BESIDE, ("corneal_diameter", LOW): UNLIKELY, ("dimple_width", LOW): BESIDE,
    ("dimple_width", HIGH): BESIDE, ("dimple_distance", LOW): BESIDE, ("dimple_distance", HIGH): BESIDE,
}  # fmt: skip
"""The ends that bring nothing by themselves, with the reason; a new number stands here, or a rule judges it."""


NUMBERS = {
    name: shape.number.plausible
    for name, shape in load_pack().findings.items()
    if shape.number is not None and shape.readings is None and shape.number.plausible is not None
}
ENDS = [(name, end) for name in NUMBERS for end in (LOW, HIGH)]


def brought(name: str, value: Fraction | float, moment: str = DAY_4) -> list[str]:
    """How pressing each thing is that rests on the number."""
    number = load_pack().findings[name].number
    assert number is not None
    given = {"value": format(float(value), "g"), "unit": number.unit}
    return pressing(told_alone(name, given, moment), name)


@pytest.mark.parametrize(("name", "end"), ENDS)
def test_a_number_at_its_far_end_brings_something(name: str, end: int) -> None:
    value = NUMBERS[name][end]
    found = brought(name, value) or brought(name, value, DAY_28)
    assert bool(found) != ((name, end) in CALM), f"{name} {value}: {found}"


@pytest.mark.parametrize(("name", "end"), sorted(STAT))
def test_the_far_end_of_a_vital_number_is_an_emergency(name: str, end: int) -> None:
    assert "stat" in brought(name, NUMBERS[name][end])


@pytest.mark.parametrize("name", sorted({name for name, _ in STAT}))
def test_nothing_grows_less_pressing_towards_an_end_that_is_an_emergency(name: str) -> None:
    """From the first emergency on, every value farther out is one too."""
    low, high = NUMBERS[name]
    steps = [low + (high - low) * Fraction(k, 60) for k in range(61)]
    ranks = [min(map(PRIORITIES.index, brought(name, round(value))), default=len(PRIORITIES)) for value in steps]
    for end, walk in ((LOW, ranks), (HIGH, ranks[::-1])):
        if (name, end) in STAT:
            last = next(k for k, rank in enumerate(walk) if rank > 0)
            assert walk[:last] == [0] * last
            assert 0 not in walk[last : len(walk) // 2] or (name, 1 - end) in STAT
