"""Many cases of one seed: to draw an example of Hypothesis takes ten times as long as to make and hold most cases."""

from __future__ import annotations

import random
from collections.abc import Iterator

from hypothesis import strategies as st

seeds = st.integers(0, 2**48)
EACH = 20
"""How many cases one example stands for."""


def several(seed: int) -> Iterator[random.Random]:
    """Yield as many generators of their own as an example stands for."""
    whole = random.Random(seed)
    return (random.Random(whole.getrandbits(64)) for _ in range(EACH))
