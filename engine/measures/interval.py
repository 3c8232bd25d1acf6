"""Arrays of exact intervals: what a number can still be.

A value that is known is an interval with equal ends; an unknown one is (-inf, +inf); a birth date without a time,
a FHIR Range or a laboratory's ``>20`` lie between. Every end is a ratio of two integers, so nothing is rounded.

Three invariants keep the arithmetic short:

1. a low end is never +inf and a high end never -inf, so an infinite end is always ``-1/0`` or ``+1/0``;
2. an end that arithmetic cannot tell (0/0, inf - inf) becomes infinite in its own direction: wider, never NaN;
3. where both ends of all elements are known and equal, ``lo is hi``: the work is then done once.

Ends are closed. A laboratory's ``>20`` is (20, inf); it is held as [20, inf), which is careful: the test
"more than 20" then may hold but not must, and no test holds that the open interval would deny.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Integers: TypeAlias = NDArray[Any]
"""Whole numbers: int64, or dtype object holding Python ints of any size."""
Bools: TypeAlias = NDArray[np.bool_]
Span: TypeAlias = tuple[Fraction | None, Fraction | None]
"""Low and high end of one value; None is unbounded."""
Ends: TypeAlias = tuple[int | None, int | None]
"""A span between whole numbers."""

_SAFE = 2**62


@dataclass(frozen=True, slots=True)
class Ratio:
    """Exact quotients ``num / den`` of two arrays of one shape; den >= 0, +inf is 1/0 and -inf is -1/0."""

    num: Integers
    den: Integers


@dataclass(frozen=True, slots=True)
class Interval:
    """Closed intervals [lo, hi], one per element; see the invariants at the top of this module."""

    lo: Ratio
    hi: Ratio

    def __len__(self) -> int:
        """Return the number of elements."""
        return len(self.lo.num)

    @property
    def exact(self) -> bool:
        """Whether every element is one known number (then ``lo is hi``)."""
        return self.lo is self.hi

    @property
    def blank(self) -> bool:
        """Whether nothing is known of any element: then most answers need no work."""
        return not (self.exact or _any(self.lo.den) or _any(self.hi.den))

    @classmethod
    def of(cls, spans: Sequence[Span] | Sequence[Ends]) -> Interval:
        """Return the intervals of single values, as Python ints, so that nothing can overflow.

        Raises ValueError where a low end lies above its high end.
        """
        if all(low is not None and low == high for low, high in spans):
            known = [low for low, _ in spans if low is not None]
            return cls.point(_objects([k.numerator for k in known]), _objects([k.denominator for k in known]))
        if any(low is not None and high is not None and low > high for low, high in spans):
            raise ValueError("an interval whose low end lies above its high end")
        return cls(_ends([low for low, _ in spans], -1), _ends([high for _, high in spans], 1))

    @classmethod
    def point(cls, num: Integers, den: Integers) -> Interval:
        """Return exact values ``num / den``; every den must be above 0."""
        ratio = Ratio(num, den)
        return cls(ratio, ratio)

    @classmethod
    def unknown(cls, n: int) -> Interval:
        """Return ``n`` values of which nothing is known."""
        return cls.of([(None, None)] * n)

    @classmethod
    def from_integers(
        cls,
        lo: NDArray[np.int64],
        hi: NDArray[np.int64] | None = None,
        *,
        scale: int = 1,
        lo_known: Bools | None = None,
        hi_known: Bools | None = None,
    ) -> Interval:
        """Return a cohort's intervals ``[lo / scale, hi / scale]`` without copying more than needed.

        ``lo``, ``hi``: int64, shape (n,), counted in steps of ``1 / scale`` of the unit; without ``hi`` the values
        are exact. ``lo_known``, ``hi_known``: boolean, shape (n,); False is unbounded on that side.
        """
        den = np.full(lo.shape, scale, dtype=np.int64)
        if hi is None and lo_known is None and hi_known is None:
            return cls.point(lo, den)
        high = lo if hi is None else hi
        above = lo_known if hi is None and hi_known is None else hi_known
        return cls(_masked(lo, den, lo_known, -1), _masked(high, den, above, 1))

    def matching(self, other: Interval) -> Interval:
        """Return the same intervals as Python ints where ``other`` holds Python ints (one visit), else as they are."""
        if other.lo.num.dtype.kind != "O" or self.lo.num.dtype.kind == "O":
            return self
        lo = Ratio(self.lo.num.astype(object), self.lo.den.astype(object))
        hi = lo if self.exact else Ratio(self.hi.num.astype(object), self.hi.den.astype(object))
        return Interval(lo, hi)

    def spans(self) -> list[Span]:
        """Return each element as (low, high) in lowest terms, None where unbounded."""
        return list(zip(_fractions(self.lo), _fractions(self.hi), strict=True))

    def take(self, index: NDArray[Any]) -> Interval:
        """Return the elements that ``index`` (positions or booleans) picks."""
        lo = Ratio(self.lo.num[index], self.lo.den[index])
        return Interval(lo, lo if self.exact else Ratio(self.hi.num[index], self.hi.den[index]))


def _objects(values: Sequence[int]) -> Integers:
    return np.array(values, dtype=object)


def _ends(values: Sequence[Fraction | int | None], sign: int) -> Ratio:
    return Ratio(
        _objects([sign if v is None else v.numerator for v in values]),
        _objects([0 if v is None else v.denominator for v in values]),
    )


def _masked(num: NDArray[np.int64], den: NDArray[np.int64], known: Bools | None, sign: int) -> Ratio:
    if known is None:
        return Ratio(num, den)
    return Ratio(np.where(known, num, sign), np.where(known, den, 0))


def _fractions(end: Ratio) -> list[Fraction | None]:
    pairs = zip(end.num.tolist(), end.den.tolist(), strict=True)
    return [Fraction(num, den) if den else None for num, den in pairs]


def has_zero(den: Integers) -> bool:
    """Whether any element is 0, an infinite end. For one visit a list is several times faster than a reduction."""
    return not all(den.tolist()) if den.dtype.kind == "O" else not bool(den.all())


def some(where: Bools) -> bool:
    """Whether any element holds; a list for few elements, as above."""
    return True in where.tolist() if where.size < 64 else bool(where.any())


def _any(den: Integers) -> bool:
    return any(den.tolist()) if den.dtype.kind == "O" else bool(den.any())


def times(a: Integers, b: Integers) -> Integers:
    """Return ``a * b`` exactly: int64 where the product surely fits, Python ints where it may not."""
    if a.dtype.kind == "O" or b.dtype.kind == "O":
        return a * b
    if _largest(a) * _largest(b) < _SAFE:
        return a * b
    return a.astype(object) * b


def _largest(a: Integers) -> int:
    return max(int(a.max()), -int(a.min())) if a.size else 0


def plus(a: Integers, b: Integers) -> Integers:
    """Return ``a + b`` exactly: int64 where the sum surely fits, Python ints where it may not."""
    if a.dtype.kind == "O" or b.dtype.kind == "O" or _largest(a) + _largest(b) < _SAFE:
        return a + b
    return a.astype(object) + b


def outward(num: Integers, den: Integers, sign: int) -> Ratio:
    """Return ``num / den`` as a low (sign -1) or high (sign 1) end: anything over 0 is infinite in that direction."""
    return Ratio(np.where(den == 0, sign, num), den) if has_zero(den) else Ratio(num, den)


def sum_of(a: Ratio, b: Ratio) -> tuple[Integers, Integers]:
    """Return numerators and denominators of ``a + b``."""
    if a.den is b.den:
        return plus(a.num, b.num), a.den
    return plus(times(a.num, b.den), times(b.num, a.den)), times(a.den, b.den)


def negative(a: Ratio) -> Ratio:
    """Return ``-a``."""
    return Ratio(-a.num, a.den)


def order(a: Ratio, b: Ratio) -> Integers:
    """Return whole numbers whose sign is that of ``a - b``, infinities included."""
    difference = plus(times(a.num, b.den), -times(b.num, a.den))
    if has_zero(a.den) and has_zero(b.den):  # two infinities: the products are 0 and say nothing
        return np.where((a.den == 0) & (b.den == 0), a.num - b.num, difference)
    return difference


def pick(condition: Bools, a: Ratio, b: Ratio) -> Ratio:
    """Return ``a`` where ``condition`` holds, else ``b``."""
    return Ratio(np.where(condition, a.num, b.num), np.where(condition, a.den, b.den))


def smaller(a: Ratio, b: Ratio) -> Ratio:
    """Return the smaller of the two, element by element."""
    return pick(order(a, b) <= 0, a, b)


def larger(a: Ratio, b: Ratio) -> Ratio:
    """Return the larger of the two, element by element."""
    return pick(order(a, b) >= 0, a, b)


def floors(a: Ratio, least: int, most: int) -> NDArray[np.int64]:
    """Return the whole number at or below each ``a``, kept within [least, most], as int64."""
    if a.num.dtype.kind == "O":  # Python ints: for one visit a list is several times faster than array operations
        pairs = zip(a.num.tolist(), a.den.tolist(), strict=True)
        return np.array([min(max(n // d if d else n * most, least), most) for n, d in pairs], dtype=np.int64)
    if has_zero(a.den):
        whole = np.where(a.den == 0, a.num * most, a.num // np.where(a.den == 0, 1, a.den))
    else:
        whole = a.num // a.den
    return np.minimum(np.maximum(whole, least), most).astype(np.int64)


def floats(a: Ratio) -> NDArray[np.float64]:
    """Return the nearest float64 of each ``a``; infinities stay."""
    if a.num.dtype.kind == "O":
        pairs = zip(a.num.tolist(), a.den.tolist(), strict=True)
        return np.array([n / d if d else n * math.inf for n, d in pairs], dtype=np.float64)
    if not has_zero(a.den):
        return (a.num / a.den).astype(np.float64)
    zero = a.den == 0
    finite = (a.num / np.where(zero, 1, a.den)).astype(np.float64)
    return np.where(zero, np.where(a.num > 0, np.inf, -np.inf), finite)


LOWEST, HIGHEST = (Ratio(np.array([sign]), np.array([0])) for sign in (-1, 1))
"""-inf and +inf, one element each, to be used for any number of elements."""
