"""Numbers as they were recorded, beside a conversion that is neither longer nor shorter than they deserve."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layette.engine.answer.parts.assessment import Measured
from layette.engine.answer.shapes.proposed import Used
from layette.mapping.text.values import measured, ordinal, units, value


def used(text: str, note: str | None = None) -> Used:
    return Used(subject="x", label="X", value=text, time="2026-11-24T10:00:00-06:00", note=note)


@pytest.mark.parametrize(
    ("text", "note", "told"),
    [
        ("7.275 [lb_av]", "= 3.299884 kg", "7.275 lb (3.300 kg)"),
        ("13.7 [in_i]", "= 34.798 cm", "13.7 in (34.8 cm)"),
        ("101 [degF]", "= 38.333 Cel", "101 °F (38.3 °C)"),
        ("100.4 [degF]", "= 38.0 Cel", "100.4 °F (38.0 °C)"),
        ("301 umol/L", "= 17.6023 mg/dL", "301 µmol/L (17.6 mg/dL)"),
        ("3255 g", "= 3.255 kg", "3255 g"),
        ("38.4 Cel", "reported by the family", "38.4 °C (reported by the family)"),
        ("13.70 [in_i]", "= 34.798 cm; preliminary", "13.70 in (34.80 cm) (preliminary)"),
        ("37.5 Cel or 38.4 Cel", None, "37.5 °C or 38.4 °C"),
        ("3 {score}", None, "3"),
        ("absent", None, "absent"),
    ],
)
def test_a_value_is_told_as_recorded_with_its_conversion_rounded(text: str, note: str | None, told: str) -> None:
    assert value(used(text, note)) == told


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("-126.5 umol/L (= -7.4 mg/dL)", "-126.5 µmol/L (= -7.4 mg/dL)"),
        ("0.07 mg/dL/h", "0.07 mg/dL an hour"),
        ("1 d", "1 day"),
        ("4 d", "4 days"),
        ("21 d", "21 days"),
        ("54 {centile}", "54th centile"),
        ("0.09 {SD}", "0.09 SD"),
        ("5 1", "5 1"),
        ("room 12 dirty", "room 12 dirty"),
    ],
)
def test_units_are_written_as_people_write_them(text: str, told: str) -> None:
    assert units(text) == told


@pytest.mark.parametrize(
    ("label", "text", "told"),
    [
        ("Loss of birth weight", "-1.5 %", ("Gain over birth weight", "1.5 %")),
        ("Loss of birth weight", "-1.5 to 0.2 %", ("Loss of birth weight", "-1.5 to 0.2 %")),
        ("Value above the line", "-43.9 umol/L (= -2.6 mg/dL)", ("Value below the line", "43.9 µmol/L (= 2.6 mg/dL)")),
        ("Gain a day since birth", "-62 g/d", ("Loss a day since birth", "62 g")),
        ("Weight centile", "54 {centile}", ("Weight", "54th centile")),
        ("Age in calendar days", "20 d", ("Age in calendar days", "20 days")),
        ("Formula in a day", "537 to 632 mL/d", ("Formula in a day", "537 to 632 mL")),
        ("Birth weight for gestation", "p50 to p90", ("Birth weight for gestation", "50th to 90th centile")),
        ("Weight for age (z)", "-0.69 {SD}", ("Weight for age (z)", "-0.69 SD")),
    ],
)  # fmt: skip
def test_a_measure_below_zero_goes_by_the_opposite_name(label: str, text: str, told: tuple[str, str]) -> None:
    one = Measured(id="x", label=label, text=text, low="1", high="1", unit=None, derived_from=(), basis="")
    assert measured(one) == told


@given(st.integers(1, 99_999), st.integers(0, 6))
def test_rounding_keeps_the_leading_digits_and_never_makes_a_number_longer(digits: int, places: int) -> None:
    number = f"{digits / 10**places:.{places}f}"
    told = value(used("101 [degF]", f"= {number} Cel"))
    inside = told.removeprefix("101 °F").strip(" ()").removesuffix(" °C")
    if inside:
        assert len(inside) <= max(len(number), len(number.split(".")[0]))
        assert abs(float(inside) - float(number)) <= max(0.005 * float(number), 0.5 * 10.0**-places)


def test_ordinals() -> None:
    assert [ordinal(number) for number in ("1", "2", "3", "4", "11", "12", "13", "21", "100")] == [
        "1st", "2nd", "3rd", "4th", "11th", "12th", "13th", "21st", "100th",
    ]  # fmt: skip
