"""Changes between two readings: exact, so that a loss of exactly 10 % or a rise of exactly 0.2 an hour compares so."""

from __future__ import annotations

from fractions import Fraction

from layette.engine.exact import arithmetic
from layette.engine.exact.arithmetic import divide, scale, subtract
from layette.engine.exact.interval import Interval
from layette.engine.measures.input_kinds import BIRTH, SAME, Of, Pair
from layette.engine.measures.registry import measure

_ONE = Interval.one(1, 1)
_HUNDRED = Fraction(100)
_GRAMS = Fraction(1000)

SINCE = ("earlier", "nadir", BIRTH)
"""The recording that a gain counts from: the last before the latest, the lowest before it, that at birth."""


@measure(
    "percent_lost",
    inputs=[Of("of"), Of("from", SAME)],
    unit="%",
    says="how much of `from` was lost",
    basis="100 × ({from} − {of}) / {from}",
    source="Noel-Weiss et al., Open Med 2008;2:e99; NICE NG75 (2017): 100 x (birth weight - weight) / birth weight",
)
def percent_lost(of: Interval, from_: Interval) -> Interval:
    """Return the loss as a percentage of ``from_``, positive = lost, negative = gained; shape (n,), any one unit.

    Each input stands once in the formula (1 - of / from), so intervals give no wider an answer than they must.
    """
    if of.exact and from_.exact:
        return scale(divide(subtract(from_, of), from_), _HUNDRED)
    return scale(subtract(_ONE, divide(of, from_)), _HUNDRED)


@measure(
    "gain_per_day",
    inputs=[Pair("of", "kg", "d", "the two weights are not apart in time", SINCE)],
    unit="g/d",
    says="gain a day between two weights",
    basis="since {since}",
    source="Grey Bruce Public Health and Toronto Public Health, infant feeding guidance: grams gained a day",
)
def gain_per_day(later: Interval, earlier: Interval, elapsed_days: Interval) -> Interval:
    """Return grams gained a day, from weights in kg and days with fractions; shape (n,). No time between: unbounded."""
    return scale(divide(subtract(later, earlier), elapsed_days), _GRAMS)


@measure(
    "difference",
    inputs=[Of("of"), Of("minus", SAME)],
    unit=SAME,
    says="`of` less `minus`",
    source="arithmetic",
)
def difference(of: Interval, minus: Interval) -> Interval:
    """Return ``of - minus``, shape (n,), in the unit of both."""
    return subtract(of, minus)


@measure(
    "absolute_difference",
    inputs=[Of("of"), Of("minus", SAME)],
    unit=SAME,
    says="how far the two differ",
    source="arithmetic",
)
def absolute_difference(of: Interval, minus: Interval) -> Interval:
    """Return ``|of - minus|``, shape (n,), in the unit of both."""
    return arithmetic.absolute_difference(of, minus)


@measure(
    "change_per_hour",
    inputs=[Pair("of", "mg/dL", "h", "the two samples are too close in time")],
    unit="mg/dL/h",
    says="change an hour between the two latest samples",
    basis="the two latest samples",
    source="Kemper et al., Pediatrics 2022;150(3):e2022058859: rate of rise",
)
def change_per_hour(later: Interval, earlier: Interval, elapsed_h: Interval) -> Interval:
    """Return the rise an hour, negative = falling; shape (n,). No time between the two readings: unbounded."""
    return divide(subtract(later, earlier), elapsed_h)


@measure(
    "change_per_week",
    inputs=[Pair("of", "cm", "d", "the two measurements are too close in time", SINCE)],
    unit="cm/wk",
    says="growth a week between two measurements",
    basis="since {since}",
    source="arithmetic: change over the time between",
)
def change_per_week(later: Interval, earlier: Interval, elapsed_days: Interval) -> Interval:
    """Return the growth a week of 7 elapsed days, shape (n,). No time between the two readings: unbounded."""
    return divide(scale(subtract(later, earlier), Fraction(7)), elapsed_days)
