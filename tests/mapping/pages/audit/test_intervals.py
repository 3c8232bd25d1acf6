"""Wilson's interval gives the values printed for it, and the limits of the funnel are wide enough."""

from __future__ import annotations

from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layette.mapping.pages.audit.intervals import Z95, limits, wilson

# Newcombe RG. Two-sided confidence intervals for the single proportion. Stat Med 1998;17:857-72, table I, method 3.
PRINTED = [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)]


@pytest.mark.parametrize(("part", "whole", "low", "high"), PRINTED)
def test_the_interval_is_the_printed_one(part: int, whole: int, low: float, high: float) -> None:
    assert wilson(part, whole) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize(("part", "whole"), [(0, 0), (3, 2), (-1, 4)])
def test_no_share_has_no_interval(part: int, whole: int) -> None:
    with pytest.raises(ValueError, match="no share"):
        wilson(part, whole)


@given(st.integers(1, 200), st.integers(0, 200), st.floats(0.1, 0.9))
def test_chance_alone_puts_few_clinics_outside_the_funnel(whole: int, part: int, share: float) -> None:
    """By the exact binomial: beyond a limit of 95 in 100 lies what happens by chance at most once in twenty, a side."""
    down, up = limits(share, whole, Z95)
    weights = [comb(whole, k) * share**k * (1 - share) ** (whole - k) for k in range(whole + 1)]
    assert sum(w for k, w in enumerate(weights) if k / whole < down) < 0.05
    assert sum(w for k, w in enumerate(weights) if k / whole > up) < 0.05
    low, high = wilson(min(part, whole), whole)
    if not down <= min(part, whole) / whole <= up:
        assert not low <= share <= high


def test_three_of_three_missed_are_no_sign() -> None:
    assert limits(0.65, 3, Z95)[0] == 0.0
    assert limits(0.65, 30, Z95)[0] > 0.4
