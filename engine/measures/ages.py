"""Ages: elapsed in hours, counted in calendar days, corrected for an early birth."""

from __future__ import annotations

from fractions import Fraction

from layette.engine.exact.arithmetic import add, scale, subtract
from layette.engine.exact.interval import Interval
from layette.engine.measures.registry import Parameter, measure

TERM_DAYS = 280
"""40 weeks and 0 days: the day from which a corrected age counts (Engle, Pediatrics 2004;114:1362-4)."""

_ENGLE = "Engle, Age terminology during the perinatal period, Pediatrics 2004;114:1362-4"
_BEFORE_TERM = Interval.one(-TERM_DAYS, -TERM_DAYS)
_HOUR, _DAY = Fraction(1, 3600), Fraction(1, 86400)


@measure("age", takes=(Parameter("at", "time"), Parameter("born", "time")), unit="h", source="arithmetic: elapsed time")
def age(at: Interval, born: Interval) -> Interval:
    """Return the elapsed age in hours at ``at``; both in UTC seconds, shape (n,). Exact; unknown if either is."""
    return scale(subtract(at, born), _HOUR)


@measure(
    "age_days", takes=(Parameter("at", "day"), Parameter("born", "day")), unit="d", source="arithmetic: calendar days"
)
def age_days(at: Interval, born: Interval) -> Interval:
    """Return the age in calendar days, 0 on the day of birth; both are day ordinals in local time, shape (n,)."""
    return subtract(at, born)


@measure(
    "elapsed_hours",
    takes=(Parameter("later", "time"), Parameter("earlier", "time")),
    unit="h",
    source="arithmetic: elapsed time",
)
def elapsed_hours(later: Interval, earlier: Interval) -> Interval:
    """Return the hours between two readings; both in UTC seconds, shape (n,)."""
    return scale(subtract(later, earlier), _HOUR)


@measure(
    "elapsed_days",
    takes=(Parameter("later", "time"), Parameter("earlier", "time")),
    unit="d",
    source="arithmetic: elapsed time, 24 h a day",
)
def elapsed_days(later: Interval, earlier: Interval) -> Interval:
    """Return the time between two readings in days of 24 h, with fractions; both in UTC seconds, shape (n,)."""
    return scale(subtract(later, earlier), _DAY)


@measure(
    "corrected_age",
    takes=(Parameter("age_days", "value", "d"), Parameter("gestation_days", "value", "d")),
    unit="d",
    source=_ENGLE,
)
def corrected_age(age_days: Interval, gestation_days: Interval) -> Interval:
    """Return the age in days counted from 40 weeks and 0 days; negative before term. Shape (n,), days in, days out."""
    return add(add(age_days, gestation_days), _BEFORE_TERM)


@measure(
    "postmenstrual_age",
    takes=(Parameter("age_days", "value", "d"), Parameter("gestation_days", "value", "d")),
    unit="d",
    source=_ENGLE,
)
def postmenstrual_age(age_days: Interval, gestation_days: Interval) -> Interval:
    """Return gestation at birth plus age since birth, in days, shape (n,)."""
    return add(age_days, gestation_days)
