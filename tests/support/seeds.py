"""Many cases of one seed: to draw an example takes ten times as long as to make and hold most cases."""

from __future__ import annotations

import random
from collections.abc import Iterator
from fractions import Fraction

from hypothesis import strategies as st

seeds = st.integers(0, 2**48)
EACH = 20
"""How many cases one example stands for."""


def several(seed: int) -> Iterator[random.Random]:
    """Yield as many generators of their own as an example stands for."""
    whole = random.Random(seed)
    return (random.Random(whole.getrandbits(64)) for _ in range(EACH))


def fractions(low: int, high: int, denominators: int) -> st.SearchStrategy[Fraction]:
    """Any fraction from ``low`` to ``high``, both among them; `st.fractions` builds a strategy for each example."""
    return st.builds(
        lambda whole, part, of: whole + Fraction(part % (of + 1), of),
        st.integers(low, high - 1), st.integers(0, denominators), st.integers(1, denominators),
    )  # fmt: skip
