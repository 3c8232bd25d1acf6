"""One visit or a cohort: the same words for plain Python numbers and for NumPy arrays.

A cohort is arrays of n elements. One visit is no array of one but a plain ``int``, ``float`` or ``bool``: that is exact
without any care for overflow, and many times faster. A measure is written once, in these words, for both.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

Integers: TypeAlias = NDArray[Any] | int
"""Whole numbers: one Python int, or an array of int64 or of Python ints (dtype object)."""
Floats: TypeAlias = NDArray[np.float64] | float
Bools: TypeAlias = NDArray[np.bool_] | bool

_SAFE = 2**62


def some(where: Bools) -> bool:
    """Whether it holds for any element. For few elements a list is several times faster than a reduction."""
    if isinstance(where, bool):
        return where
    return True in where.tolist() if where.size < 64 else bool(where.any())


def not_(where: Bools) -> Bools:
    """Return where it does not hold."""
    return not where if isinstance(where, bool) else ~where


def chosen(where: Bools, a: Any, b: Any) -> Any:
    """Return ``a`` where it holds, else ``b``."""
    if isinstance(where, bool):
        return a if where else b
    return np.where(where, a, b)


def clipped(a: Integers, least: int, most: int) -> Integers:
    """Return ``a``, kept within [least, most]."""
    if isinstance(a, int):
        return min(max(a, least), most)
    return np.asarray(np.minimum(np.maximum(a, least), most))


def has_zero(den: Integers) -> bool:
    """Whether any element is 0, the mark of an infinite end."""
    if isinstance(den, int):
        return not den
    return not all(den.tolist()) if den.dtype.kind == "O" else not bool(den.all())


def all_zero(den: Integers) -> bool:
    """Whether every element is 0."""
    if isinstance(den, int):
        return not den
    return not any(den.tolist()) if den.dtype.kind == "O" else not bool(den.any())


def least_of(a: Integers) -> int:
    """Return the smallest element, 1 of none."""
    if isinstance(a, int):
        return a
    return int(a.min()) if a.size else 1


def most_of(a: Integers) -> int:
    """Return the largest element of at least one."""
    return a if isinstance(a, int) else int(a.max())


def times(a: Integers, b: Integers) -> Integers:
    """Return ``a * b`` exactly: int64 where the product surely fits, Python ints where it may not."""
    if isinstance(a, int) and isinstance(b, int):
        return a * b
    if _kept_as_objects(a, b) or _largest(a) * _largest(b) < _SAFE:
        return a * b
    return np.asarray(a, dtype=object) * b


def plus(a: Integers, b: Integers) -> Integers:
    """Return ``a + b`` exactly: int64 where the sum surely fits, Python ints where it may not."""
    if isinstance(a, int) and isinstance(b, int):
        return a + b
    if _kept_as_objects(a, b) or _largest(a) + _largest(b) < _SAFE:
        return a + b
    return np.asarray(a, dtype=object) + b


def _kept_as_objects(a: Integers, b: Integers) -> bool:
    return any(not isinstance(x, int) and x.dtype.kind == "O" for x in (a, b))


def _largest(a: Integers) -> int:
    if isinstance(a, int):
        return abs(a)
    return max(int(a.max()), -int(a.min())) if a.size else 0


def step_at(starts: Sequence[int], a: Integers) -> Integers:
    """Return the position of the last of the rising ``starts`` that is not above ``a``; 0 where all are."""
    if isinstance(a, int):
        return max(bisect_right(starts, a) - 1, 0)
    return np.maximum(np.searchsorted(starts, a, side="right") - 1, 0)


def at(listed: Sequence[int], i: Integers) -> Integers:
    """Return the elements of ``listed`` at the positions ``i``."""
    return listed[i] if isinstance(i, int) else np.array(listed, dtype=_whole_type(listed))[i]


def _whole_type(listed: Sequence[int]) -> Any:
    return np.int64 if all(abs(value) < _SAFE for value in listed) else object
