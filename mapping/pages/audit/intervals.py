"""How far a share may be from what it seems, by chance alone.

The interval is Wilson's (Wilson EB. Probable inference, the law of succession, and statistical inference. J Am Stat
Assoc 1927;22:209-12). The limits of the funnel are those of the normal distribution with the correction for whole
numbers, half a newborn wider on each side: of three newborns three missed are no sign yet.
"""

from __future__ import annotations

from math import sqrt

Z95, Z998 = 1.959964, 3.090232
"""Of the normal distribution: 95 and 99.8 in 100 lie within so many standard deviations."""


def wilson(part: int, whole: int, z: float = Z95) -> tuple[float, float]:
    """Return the lower and upper end of a share, both from 0 to 1. Raises ValueError unless 0 <= part <= whole > 0."""
    if not 0 <= part <= whole or whole == 0:
        raise ValueError(f"no share: {part} of {whole}")
    share, square = part / whole, z * z
    middle = (share + square / (2 * whole)) / (1 + square / whole)
    half = z * sqrt(share * (1 - share) / whole + square / (4 * whole * whole)) / (1 + square / whole)
    return (0.0 if part == 0 else middle - half), (1.0 if part == whole else middle + half)


def limits(share: float, whole: float, z: float) -> tuple[float, float]:
    """Return between which shares a group of ``whole`` lies if chance alone makes it differ from ``share``."""
    half = z * sqrt(share * (1 - share) / whole) + 1 / (2 * whole)
    return max(0.0, share - half), min(1.0, share + half)
