"""Arithmetic and comparison of intervals: the result holds every number that the inputs could give, and is exact.

Shapes: all intervals hold n elements, or one (then it is used for all).
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from layette.engine.measures.interval import (
    HIGHEST,
    LOWEST,
    Bools,
    Integers,
    Interval,
    Ratio,
    larger,
    negative,
    order,
    outward,
    pick,
    smaller,
    sum_of,
    times,
)


def add(a: Interval, b: Interval) -> Interval:
    """Return a + b."""
    if a.exact and b.exact:
        return Interval.point(*sum_of(a.lo, b.lo))
    if a.blank or b.blank:
        return Interval.unknown(max(len(a), len(b)))
    return Interval(outward(*sum_of(a.lo, b.lo), -1), outward(*sum_of(a.hi, b.hi), 1))


def negate(a: Interval) -> Interval:
    """Return -a."""
    return Interval.point(-a.lo.num, a.lo.den) if a.exact else Interval(negative(a.hi), negative(a.lo))


def subtract(a: Interval, b: Interval) -> Interval:
    """Return a - b."""
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
    num = end.num if by.numerator == 1 else times(end.num, np.array([by.numerator], dtype=end.num.dtype))
    den = end.den if by.denominator == 1 else times(end.den, np.array([by.denominator], dtype=end.den.dtype))
    return outward(num, den, sign)


def divide(a: Interval, b: Interval) -> Interval:
    """Return a / b for a divisor that is positive; where it may be negative the answer is unbounded.

    A divisor that reaches down to 0 leaves the side open that grows without limit.
    """
    if a.exact and b.exact:
        num, den = _quotient(a.lo, b.lo)
        if _smallest(b.lo.num) > 0:
            return Interval.point(num, den)
    if a.blank or b.blank:
        return Interval.unknown(max(len(a), len(b)))
    lo = outward(*_quotient(a.lo, b.lo if b.exact else pick(a.lo.num >= 0, b.hi, b.lo)), -1)
    hi = outward(*_quotient(a.hi, b.lo if b.exact else pick(a.hi.num >= 0, b.lo, b.hi)), 1)
    if _smallest(b.lo.num) < 0:
        return _unbounded_where(b.lo.num < 0, Interval(lo, hi))
    return Interval(lo, hi)


def _smallest(a: Integers) -> int:
    return min(a.tolist(), default=1) if a.dtype.kind == "O" else int(a.min(initial=1))


def _quotient(a: Ratio, b: Ratio) -> tuple[Integers, Integers]:
    return times(a.num, b.den), times(a.den, b.num)


def _unbounded_where(where: Bools, a: Interval) -> Interval:
    return Interval(pick(where, LOWEST, a.lo), pick(where, HIGHEST, a.hi))


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
        return Interval.point(np.abs(d.lo.num), d.lo.den)
    lo = larger(larger(d.lo, negative(d.hi)), Ratio(np.zeros_like(d.lo.num), np.ones_like(d.lo.den)))
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
