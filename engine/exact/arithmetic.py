"""Arithmetic and comparison of intervals: the result holds every number that the inputs could give, and is exact.

All intervals are single numbers, or arrays of n; a single number beside an array is used for all its elements.
"""

from __future__ import annotations

from fractions import Fraction

from layette.engine.exact.interval import (
    HIGHEST,
    LOWEST,
    Interval,
    Ratio,
    larger,
    negative,
    order,
    outward,
    pick,
    smaller,
    sum_of,
    unknown_like,
)
from layette.engine.exact.one_or_many import Bools, least_of, some, times

_ZERO = Ratio(0, 1)


def add(a: Interval, b: Interval) -> Interval:
    """Return a + b."""
    if a.exact and b.exact:
        both = sum_of(a.lo, b.lo)
        return Interval(both, both)
    if a.blank or b.blank:
        return unknown_like(a, b)
    return Interval(outward(*sum_of(a.lo, b.lo), -1), outward(*sum_of(a.hi, b.hi), 1))


def negate(a: Interval) -> Interval:
    """Return -a."""
    lo = negative(a.hi)
    return Interval(lo, lo if a.exact else negative(a.lo))


def subtract(a: Interval, b: Interval) -> Interval:
    """Return a - b."""
    if a.exact and b.exact:  # as below, with one negation less for what is most frequent
        difference = sum_of(a.lo, negative(b.lo))
        return Interval(difference, difference)
    return add(a, negate(b))


def scale(a: Interval, by: Fraction) -> Interval:
    """Return a * by, for a factor that is not 0."""
    if by == 0:
        raise ValueError("scale by 0 would forget what is unknown")
    if by < 0:
        return scale(negate(a), -by)
    lo = _stretched(a.lo, by, -1)
    return Interval(lo, lo if a.exact else _stretched(a.hi, by, 1))


def _stretched(end: Ratio, by: Fraction, sign: int) -> Ratio:
    return outward(times(end.num, by.numerator), times(end.den, by.denominator), sign)


def divide(a: Interval, b: Interval) -> Interval:
    """Return a / b for a divisor that is positive; where it may be negative the answer is unbounded.

    A divisor that reaches down to 0 leaves the side open that grows without limit.
    """
    if a.exact and b.exact and least_of(b.lo.num) > 0:
        quotient = _quotient(a.lo, b.lo)
        return Interval(quotient, quotient)
    if a.blank or b.blank:
        return unknown_like(a, b)
    lo = outward(*_quotient(a.lo, b.lo if b.exact else pick(a.lo.num >= 0, b.hi, b.lo)), -1)
    hi = outward(*_quotient(a.hi, b.lo if b.exact else pick(a.hi.num >= 0, b.lo, b.hi)), 1)
    negative_divisor = b.lo.num < 0
    if some(negative_divisor):
        return Interval(pick(negative_divisor, LOWEST, lo), pick(negative_divisor, HIGHEST, hi))
    return Interval(lo, hi)


def _quotient(a: Ratio, b: Ratio) -> Ratio:
    return Ratio(times(a.num, b.den), times(a.den, b.num))


def multiply(a: Interval, b: Interval) -> Interval:
    """Return a * b for a factor b that is positive and bounded."""
    if a.exact and b.exact:
        return Interval.point(times(a.lo.num, b.lo.num), times(a.lo.den, b.lo.den))
    low = pick(a.lo.num >= 0, b.lo, b.hi)
    high = pick(a.hi.num >= 0, b.hi, b.lo)
    lo = outward(times(a.lo.num, low.num), times(a.lo.den, low.den), -1)
    return Interval(lo, outward(times(a.hi.num, high.num), times(a.hi.den, high.den), 1))


def absolute_difference(a: Interval, b: Interval) -> Interval:
    """Return |a - b|."""
    d = subtract(a, b)
    if d.exact:
        size = larger(d.lo, negative(d.lo))
        return Interval(size, size)
    lo = larger(larger(d.lo, negative(d.hi)), _ZERO)
    return Interval(lo, larger(d.hi, negative(d.lo)))


def minimum(a: Interval, b: Interval) -> Interval:
    """Return the smaller of the two values."""
    lo = smaller(a.lo, b.lo)
    return Interval(lo, lo if a.exact and b.exact else smaller(a.hi, b.hi))


def maximum(a: Interval, b: Interval) -> Interval:
    """Return the larger of the two values."""
    lo = larger(a.lo, b.lo)
    return Interval(lo, lo if a.exact and b.exact else larger(a.hi, b.hi))


def hull(a: Interval, b: Interval) -> Interval:
    """Return the smallest intervals that hold both."""
    return a if a is b else Interval(smaller(a.lo, b.lo), larger(a.hi, b.hi))


def at_least(a: Interval, b: Interval) -> tuple[Bools, Bools]:
    """Return (must, may) of ``a >= b``: it holds for all, for some of the numbers still possible."""
    must = order(a.lo, b.hi) >= 0
    return must, must if a.exact and b.exact else order(a.hi, b.lo) >= 0


def more_than(a: Interval, b: Interval) -> tuple[Bools, Bools]:
    """Return (must, may) of ``a > b``."""
    must = order(a.lo, b.hi) > 0
    return must, must if a.exact and b.exact else order(a.hi, b.lo) > 0


def at_most(a: Interval, b: Interval) -> tuple[Bools, Bools]:
    """Return (must, may) of ``a <= b``."""
    return at_least(b, a)


def below(a: Interval, b: Interval) -> tuple[Bools, Bools]:
    """Return (must, may) of ``a < b``."""
    return more_than(b, a)
