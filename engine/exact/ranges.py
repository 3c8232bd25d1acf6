"""Ranges of exact numbers, and how they are printed."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from layette.engine.exact.units import as_decimal, plain, rounded


@dataclass(frozen=True, slots=True)
class Range:
    """A number: between ``lo`` and ``hi`` (None: unbounded) in the finding's unit; an open end is not included."""

    lo: Fraction | None
    hi: Fraction | None
    lo_open: bool = False
    hi_open: bool = False

    @property
    def exact(self) -> bool:
        """Whether it is one number."""
        return self.lo is not None and (self.lo is self.hi or self.lo == self.hi)


Possible = Range | frozenset[str]
"""What a recording can be: a range of numbers, or a set of values."""


def show_range(found: Range, digits: int) -> str:
    """Print a range; decimals beyond ``digits`` are kept as far as they are exact, up to three more."""
    if found.exact:
        assert found.lo is not None
        return show_exact(found.lo, digits)
    if found.lo is None and found.hi is None:
        return "any number"
    if found.lo is None:
        assert found.hi is not None
        return f"{'<' if found.hi_open else '≤'} {show_exact(found.hi, digits)}"
    if found.hi is None:
        return f"{'>' if found.lo_open else '≥'} {show_exact(found.lo, digits)}"
    return f"{show_exact(found.lo, digits)} to {show_exact(found.hi, digits)}"


def show_exact(value: Fraction, digits: int) -> str:
    """Print a number with ``digits`` decimals, or with up to three more where it has them."""
    for more in range(4):
        steps = rounded(value, digits + more)
        if steps * value.denominator == value.numerator * 10 ** (digits + more):
            return as_decimal(steps, digits + more)
    return plain(value, digits + 3)
