"""Exact intervals: what a number can still be, for one visit or for a cohort.

A value that is known is an interval with equal ends; an unknown one is (-inf, +inf); a birth date without a time,
a FHIR Range or a laboratory's ``>20`` lie between. Every end is a ratio of two integers, so nothing is rounded: of two
Python ints for one visit, of two arrays of n for a cohort (`engine.measures.elements`).

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
from fractions import Fraction
from typing import Any, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from layette.engine.exact.one_or_many import Bools, Floats, Integers, all_zero, chosen, clipped, has_zero, plus, times

Span: TypeAlias = tuple[Fraction | None, Fraction | None]
"""Low and high end of one value; None is unbounded."""
Ends: TypeAlias = tuple[int | None, int | None]
"""A span between whole numbers."""


class Ratio(NamedTuple):
    """Exact quotients ``num / den``, both plain or both arrays of one shape; den >= 0, +inf is 1/0, -inf is -1/0."""

    num: Integers
    den: Integers


class Interval(NamedTuple):
    """Closed intervals [lo, hi], one or an array of them; see the invariants at the top of this module."""

    lo: Ratio
    hi: Ratio

    @property
    def size(self) -> int | None:
        """The number of elements; None for a single one that is no array."""
        return None if isinstance(self.lo.num, int) else len(self.lo.num)

    @property
    def exact(self) -> bool:
        """Whether every element is one known number (then ``lo is hi``)."""
        return self.lo is self.hi

    @property
    def blank(self) -> bool:
        """Whether nothing is known of any element: then most answers need no work."""
        return self.lo is not self.hi and all_zero(self.lo.den) and all_zero(self.hi.den)

    @classmethod
    def one(cls, low: Fraction | int | None, high: Fraction | int | None) -> Interval:
        """Return the interval of a single value. Raises ValueError where the low end lies above the high end."""
        if low is None and high is None:
            return NOTHING_KNOWN
        lo = LOWEST if low is None else Ratio(low.numerator, low.denominator)
        if low is high or low == high:
            return cls(lo, lo)
        if low is not None and high is not None and low > high:
            raise ValueError("an interval whose low end lies above its high end")
        return cls(lo, HIGHEST if high is None else Ratio(high.numerator, high.denominator))

    @classmethod
    def of(cls, spans: Sequence[Span] | Sequence[Ends]) -> Interval:
        """Return the intervals of several values, as arrays of Python ints, so that nothing can overflow.

        Raises ValueError where a low end lies above its high end.
        """
        each = [cls.one(low, high) for low, high in spans]
        lo = _stacked([one.lo for one in each])
        return cls(lo, lo if all(one.exact for one in each) else _stacked([one.hi for one in each]))

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
        lo_known: NDArray[np.bool_] | None = None,
        hi_known: NDArray[np.bool_] | None = None,
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

    def span(self) -> Span:
        """Return a single value as (low, high) in lowest terms, None where unbounded."""
        low = _fraction(*self.lo)
        return low, low if self.exact else _fraction(*self.hi)

    def spans(self) -> list[Span]:
        """Return each element as (low, high) in lowest terms, None where unbounded."""
        if self.size is None:
            return [self.span()]
        return list(zip(_fractions(self.lo), _fractions(self.hi), strict=True))

    def take(self, index: NDArray[Any]) -> Interval:
        """Return the elements of a cohort that ``index`` (positions or booleans) picks."""
        lo = Ratio(_taken(self.lo.num, index), _taken(self.lo.den, index))
        return Interval(lo, lo if self.exact else Ratio(_taken(self.hi.num, index), _taken(self.hi.den, index)))


LOWEST, HIGHEST = Ratio(-1, 0), Ratio(1, 0)
"""-inf and +inf, to be used beside any number of elements."""
NOTHING_KNOWN = Interval(LOWEST, HIGHEST)
"""A single value of which nothing is known."""


def unknown_like(a: Interval, b: Interval) -> Interval:
    """Return as many unknown values as an operation on ``a`` and ``b`` gives."""
    sizes = [size for size in (a.size, b.size) if size is not None]
    return Interval.unknown(max(sizes)) if sizes else NOTHING_KNOWN


def _stacked(ends: Sequence[Ratio]) -> Ratio:
    return Ratio(*(np.array([end[part] for end in ends], dtype=object) for part in (0, 1)))


def _masked(num: NDArray[np.int64], den: NDArray[np.int64], known: NDArray[np.bool_] | None, sign: int) -> Ratio:
    if known is None:
        return Ratio(num, den)
    return Ratio(np.where(known, num, sign), np.where(known, den, 0))


def _taken(a: Integers, index: NDArray[Any]) -> Integers:
    return a if isinstance(a, int) else a[index]


def _fraction(num: Any, den: Any) -> Fraction | None:
    return Fraction(num, den) if den else None


def _fractions(end: Ratio) -> list[Fraction | None]:
    num, den = np.broadcast_arrays(*end)
    return [_fraction(n, d) for n, d in zip(num.tolist(), den.tolist(), strict=True)]


def outward(num: Integers, den: Integers, sign: int) -> Ratio:
    """Return ``num / den`` as a low (sign -1) or high (sign 1) end: anything over 0 is infinite in that direction."""
    if isinstance(den, int):
        return Ratio(num if den else sign, den)
    return Ratio(chosen(den == 0, sign, num), den) if has_zero(den) else Ratio(num, den)


def sum_of(a: Ratio, b: Ratio) -> Ratio:
    """Return ``a + b``; where one is infinite, over 0."""
    (an, ad), (bn, bd) = a, b
    if isinstance(an, int) and isinstance(bn, int):  # one visit: as below, without the care for overflow
        return Ratio(an + bn, ad) if ad is bd else Ratio(an * bd + bn * ad, ad * bd)
    if ad is bd:
        return Ratio(plus(an, bn), ad)
    return Ratio(plus(times(a.num, b.den), times(b.num, a.den)), times(a.den, b.den))


def negative(a: Ratio) -> Ratio:
    """Return ``-a``."""
    return Ratio(-a.num, a.den)


def order(a: Ratio, b: Ratio) -> Integers:
    """Return whole numbers whose sign is that of ``a - b``, infinities included."""
    difference = plus(times(a.num, b.den), -times(b.num, a.den))
    if has_zero(a.den) and has_zero(b.den):  # two infinities: the products are 0 and say nothing
        return chosen((a.den == 0) & (b.den == 0), a.num - b.num, difference)  # type: ignore[no-any-return]
    return difference


def pick(condition: Bools, a: Ratio, b: Ratio) -> Ratio:
    """Return ``a`` where ``condition`` holds, else ``b``."""
    if isinstance(condition, bool):
        return a if condition else b
    return Ratio(np.where(condition, a.num, b.num), np.where(condition, a.den, b.den))


def smaller(a: Ratio, b: Ratio) -> Ratio:
    """Return the smaller of the two, element by element."""
    return pick(order(a, b) <= 0, a, b)


def larger(a: Ratio, b: Ratio) -> Ratio:
    """Return the larger of the two, element by element."""
    return pick(order(a, b) >= 0, a, b)


def floors(a: Ratio, least: int, most: int) -> Integers:
    """Return the whole number at or below each ``a``, kept within [least, most]; of a cohort as int64."""
    if isinstance(a.num, int) and isinstance(a.den, int):
        return min(max(a.num // a.den if a.den else a.num * most, least), most)
    num, den = np.broadcast_arrays(a.num, a.den)
    zero = den == 0
    whole = np.where(zero, num * most, num // np.where(zero, 1, den)) if has_zero(den) else num // den
    return np.asarray(clipped(whole, least, most)).astype(np.int64)


def floats(a: Ratio) -> Floats:
    """Return the nearest float64 of each ``a``; infinities stay."""
    if isinstance(a.num, int) and isinstance(a.den, int):
        return a.num / a.den if a.den else a.num * math.inf
    num, den = np.broadcast_arrays(a.num, a.den)
    if not has_zero(den):
        return np.asarray(num / den).astype(np.float64)
    zero = den == 0
    finite = np.asarray(num / np.where(zero, 1, den)).astype(np.float64)
    return np.where(zero, np.where(num > 0, np.inf, -np.inf), finite)
