"""Recordings of one moment that differ: one of these, never "not known" (danger law 10).

A value inside a coarser one is that value, more exactly. Numbers in different units are one value where they differ by
no more than the rounding of their printed digits. Of all else, what counts is the union of the values, the hull of the
ranges; every member stays to be cited, and to be decided by itself (`answer.worlds`).
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

from layette.engine.exact.ranges import Possible, Range
from layette.engine.exact.times import Moment
from layette.engine.visit.visit import Recorded

DOES_NOT_APPLY = "not-applicable"
"""FHIR's data-absent-reason of what does not apply to this newborn."""

_DEGREES = {"[degF]": Fraction(5, 9), "Cel": Fraction(9, 5)}
"""How wide a step of a degree is in the other degree."""

_NUMBER = re.compile(r"-?[0-9]+(?:\.([0-9]+))?(?= |$)")


def agreed(best: Sequence[Recorded]) -> Recorded | None:
    """Return the one that is as exact as any and contradicts none of the others; None where they differ."""
    tightest = best[0].possible
    for one in best:  # whatever lies inside all the others is what is left at the end
        if inside(one.possible, tightest):
            tightest = one.possible
    if not all(one.absent == best[0].absent and inside(tightest, one.possible) for one in best):
        return None
    return min((r for r in best if inside(r.possible, tightest)), key=lambda r: (-r.time.hi, r.order))


def inside(inner: Possible | None, outer: Possible | None) -> bool:
    """Whether what ``inner`` can be is among what ``outer`` can be."""
    if inner is outer:  # most often there is one alone
        return True
    if isinstance(inner, frozenset) and isinstance(outer, frozenset):
        return inner <= outer
    if not isinstance(inner, Range) or not isinstance(outer, Range):
        return inner == outer
    low = outer.lo is None or (
        inner.lo is not None and (inner.lo > outer.lo or (inner.lo == outer.lo and not outer.lo_open))
    )
    high = outer.hi is None or (
        inner.hi is not None and (inner.hi < outer.hi or (inner.hi == outer.hi and not outer.hi_open))
    )
    return inner == outer or (low and high)


def one_of(best: Sequence[Recorded]) -> Recorded:
    """Return recordings that differ as one: the union of their values, the hull of their ranges and times.

    It carries a qualifier with each of the values that any member has, or none where a member lacks it. Of attempts
    without a value it "does not apply" only if all say so.
    """
    ordered = sorted(best, key=lambda r: r.order)
    last = max(ordered, key=lambda r: (r.time.hi, r.order))
    valued = [r for r in ordered if r.possible is not None]
    if not valued:
        return next((r for r in ordered if r.absent != DOES_NOT_APPLY), last)
    time = Moment(min(r.time.lo for r in valued), max(r.time.hi for r in valued), last.time.text)
    return last._replace(
        possible=_together([r.possible for r in valued if r.possible is not None]),
        given=" or ".join(dict.fromkeys(r.given for r in valued)),
        converted=" or ".join(dict.fromkeys(r.converted or r.given for r in valued)) if last.converted else "",
        time=time,
        qualifiers=tuple(_shared_qualifiers(valued)),
    )


def _together(values: Sequence[Possible]) -> Possible:
    sets = [value for value in values if isinstance(value, frozenset)]
    if sets:
        return frozenset().union(*sets)
    return hull([value for value in values if isinstance(value, Range)])


def _shared_qualifiers(members: Sequence[Recorded]) -> Iterator[tuple[str, str]]:
    names = [{name for name, _ in member.qualifiers} for member in members]
    for name in sorted(set.intersection(*names)):
        values = {value for member in members for key, value in member.qualifiers if key == name}
        yield from ((name, value) for value in sorted(values))


def hull(ranges: Sequence[Range]) -> Range:
    """Return the smallest range around all."""
    lows, highs = [r.lo for r in ranges], [r.hi for r in ranges]
    lo = None if None in lows else min(low for low in lows if low is not None)
    hi = None if None in highs else max(high for high in highs if high is not None)
    if lo is not None and lo == hi:
        return Range(lo, hi)
    lo_open = lo is not None and all(r.lo_open for r in ranges if r.lo == lo)
    hi_open = hi is not None and all(r.hi_open for r in ranges if r.hi == hi)
    return Range(lo, hi, lo_open, hi_open)


class _Printed(NamedTuple):
    """A number in the finding's unit: value, half a step of the last digit that was written, the unit as written."""

    value: Fraction
    half_step: Fraction
    unit: str


def one_value(members: Sequence[Recorded]) -> bool:
    """Whether numbers in different units are one value, within the rounding of their printed digits.

    In one unit only equal is equal.
    """
    known: list[_Printed] = []
    for member in members:
        number = _printed(member)
        if number is None or any(number.unit == other.unit for other in known):
            return False
        known.append(number)
    return all(abs(a.value - b.value) <= a.half_step + b.half_step for a, b in combinations(known, 2))


def _printed(member: Recorded) -> _Printed | None:
    number = _NUMBER.match(member.given)
    if number is None or not isinstance(member.possible, Range) or not member.possible.exact:
        return None
    own, written, unit = member.possible.lo, Fraction(number[0]), member.given[number.end() :].strip()
    assert own is not None
    half_step = Fraction(1, 2 * 10 ** len(number[1] or ""))
    if member.converted:  # degrees have a zero of their own; any other unit is a factor of the finding's
        half_step *= _DEGREES.get(unit) or (own / written if written else 0)
    return _Printed(own, half_step, unit)
