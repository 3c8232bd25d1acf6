"""Units: exact, both ways, and only where they measure the same thing."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.seeds import fractions

from layette.engine.exact.units import _LINEAR, UnitMismatchError, amount, convert, exact, plain, seconds

KIND = {**{unit: kind for unit, (kind, _) in _LINEAR.items()}, "Cel": "warmth", "[degF]": "warmth", "%": "share"}
UNITS = tuple(KIND)
values = fractions(-1000, 100_000, 10_000)


@given(value=values, unit=st.sampled_from(UNITS), to=st.sampled_from(UNITS))
def test_a_conversion_comes_back_exactly_or_is_refused(value: Fraction, unit: str, to: str) -> None:
    if unit != to and KIND[unit].replace("mass in", "amount in") != KIND[to].replace("mass in", "amount in"):
        with pytest.raises(UnitMismatchError, match=re.escape(f"'{to}'")):
            convert(value, unit, to)
    else:
        assert convert(convert(value, unit, to), to, unit) == value


@pytest.mark.parametrize(
    ("value", "unit", "to", "exactly"),
    [
        ("100.4", "[degF]", "Cel", "38"), ("38", "Cel", "[degF]", "100.4"), ("20", "mg/dL", "umol/L", "342"),
        ("342", "umol/L", "mg/dL", "20"), ("0.2", "mg/dL/h", "umol/L/h", "3.42"), ("1", "[lb_av]", "g", "453.59237"),
        ("16", "[oz_av]", "[lb_av]", "1"), ("3.25", "kg", "g", "3250"), ("20", "[in_i]", "cm", "50.8"),
        ("38", "wk", "d", "266"), ("1", "[foz_us]", "mL", "29.5735295625"), ("97", "%", "%", "97"),
    ],
)  # fmt: skip
def test_factors(value: str, unit: str, to: str, exactly: str) -> None:
    assert convert(Fraction(value), unit, to) == Fraction(exactly)


@pytest.mark.parametrize(
    ("value", "unit", "to", "substance", "exactly"),
    [
        ("1", "mmol/L", "mg/dL", "glucose", "18.0156"), ("18.0156", "mg/dL", "mmol/L", "glucose", "1"),
        ("2.5", "mmol/L", "mg/L", "glucose", "450.39"), ("1", "mg/dL", "umol/L", "bilirubin", "17.1"),
        ("30", "g/L", "g/dL", None, "3"), ("120", "mg/L", "mg/dL", None, "12"), ("1", "mmol/L", "umol/L", None, "1000"),
    ],
)  # fmt: skip
def test_a_mass_and_an_amount_compare_by_the_substance(
    value: str, unit: str, to: str, substance: str | None, exactly: str
) -> None:
    assert convert(Fraction(value), unit, to, substance) == Fraction(exactly)


@pytest.mark.parametrize("substance", [None, "sodium"])
def test_without_a_substance_an_amount_is_no_mass(substance: str | None) -> None:
    with pytest.raises(UnitMismatchError, match="unless 'substance' names one of bilirubin, glucose"):
        convert(Fraction(1), "mmol/L", "mg/dL", substance)


@pytest.mark.parametrize(
    ("unit", "to"), [("kg", "cm"), ("mg/dL", "mg/dL/h"), ("Cel", "K"), ("stone", "kg"), ("%", "g"), ("kg", "")]
)  # fmt: skip
def test_what_measures_something_else_is_refused(unit: str, to: str) -> None:
    with pytest.raises(UnitMismatchError):
        convert(Fraction(1), unit, to)


@given(st.decimals(min_value=-1000, max_value=1000, places=4))
def test_a_written_number_is_read_as_it_is_written(number: object) -> None:
    text = str(number)
    assert exact(text) == Fraction(text)
    assert exact(float(text)) == Fraction(repr(float(text)))


def test_a_tenth_is_a_tenth() -> None:
    assert exact(0.1) + exact(0.2) == exact(0.3)


@pytest.mark.parametrize(
    ("text", "found"),
    [("24 h", 86400), ("10 min", 600), ("1.5 d", 129600), ("2 wk", 1209600), ("45 s", 45), ("-1 h", -3600)],
)
def test_elapsed_time(text: str, found: int) -> None:
    assert seconds(text) == found


@pytest.mark.parametrize("text", ["1 mo", "24", "h", "24  h", "24h", "one h", "3 kg", "", "1 h 5 min"])
def test_what_is_no_elapsed_time_is_refused(text: str) -> None:
    with pytest.raises(UnitMismatchError):
        seconds(text)


def test_an_amount_is_a_number_and_a_unit() -> None:
    assert amount("2.5 mg/dL") == (Fraction(5, 2), "mg/dL")
    assert amount("mg/dL") is None


@given(value=values, digits=st.integers(0, 6))
def test_print_is_the_nearest_number_of_that_many_digits(value: Fraction, digits: int) -> None:
    text = plain(value, digits)
    assert abs(Fraction(text) - value) <= Fraction(1, 2 * 10**digits)
    assert len(text.partition(".")[2]) == digits
    assert not text.startswith("-0") or Fraction(text) < 0


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [("0.05", 1, "0.1"), ("-0.05", 1, "-0.1"), ("0.04", 1, "0.0"), ("-0.04", 1, "0.0"), ("9.5", 0, "10")],
)  # fmt: skip
def test_print_rounds_half_away_from_zero(value: str, digits: int, text: str) -> None:
    assert plain(Fraction(value), digits) == text
