"""Wilson's interval gives the values printed for it, and the funnel is the same test."""

from __future__ import annotations

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


@given(st.integers(1, 500), st.data(), st.floats(0.02, 0.98))
def test_outside_the_funnel_is_where_the_whole_lies_outside_the_interval(
    whole: int, data: st.DataObject, share: float
) -> None:
    part = data.draw(st.integers(0, whole))
    low, high = wilson(part, whole)
    down, up = limits(share, whole, Z95)
    if min(abs(share - low), abs(share - high)) > 1e-9:
        assert (down <= part / whole <= up) == (low <= share <= high)
