"""Ages: elapsed in hours, counted in calendar days, corrected for an early birth."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from layette.engine.exact.arithmetic import add, scale, subtract
from layette.engine.exact.interval import Interval
from layette.engine.measures.input_kinds import VISIT, AgeAt, AmountOfTime, BirthMonth, Of, TimeOf
from layette.engine.measures.registry import measure

TERM_DAYS = 280
"""40 weeks and 0 days: the day from which a corrected age counts (Engle, Pediatrics 2004;114:1362-4)."""

_ENGLE = "Engle, Age terminology during the perinatal period, Pediatrics 2004;114:1362-4"
BEFORE_TERM = Interval.one(-TERM_DAYS, -TERM_DAYS)
"""What an age from birth and the gestation are together more than the age from 40 weeks, in days."""
_HOUR, _DAY = Fraction(1, 3600), Fraction(1, 86400)


def age(at: Interval, born: Interval) -> Interval:
    """Return the elapsed age in hours at ``at``; both in UTC seconds, shape (n,). Exact; unknown if either is."""
    return scale(subtract(at, born), _HOUR)


def age_days(at: Interval, born: Interval) -> Interval:
    """Return the age in calendar days, 0 on the day of birth; both are day ordinals in local time, shape (n,)."""
    return subtract(at, born)


@measure(
    "age",
    inputs=[AgeAt(VISIT, "h")],
    unit="h",
    says="elapsed time since birth",
    source="arithmetic: elapsed time",
    basis="elapsed time since birth",
)
def age_at_visit(age_h: Interval) -> Interval:
    """Return the age itself, in hours, shape (n,): what every input of this kind is given (`age`)."""
    return age_h


@measure(
    "age_days",
    inputs=[AgeAt(VISIT, "d")],
    unit="d",
    says="calendar days since birth, 0 on the day of birth",
    source="arithmetic: calendar days",
    basis="calendar days since birth",
)
def age_days_at_visit(age_days: Interval) -> Interval:
    """Return the age itself, in calendar days, shape (n,): what every input of this kind is given (`age_days`)."""
    return age_days


@measure(
    "month_of_birth",
    inputs=[BirthMonth()],
    unit="{count}",
    says="calendar month of birth counted from July: 0 for July, 11 for June",
    source="arithmetic: calendar months",
    basis="the date of birth",
)
def month_of_birth(birth_month: Interval) -> Interval:
    """Return the month itself, counted from July, shape (n,): what an input of this kind is given."""
    return birth_month


@measure(
    "elapsed_hours",
    inputs=[TimeOf("later"), TimeOf("earlier")],
    unit="h",
    says="hours between the times of two values",
    source="arithmetic: elapsed time",
)
def elapsed_hours(later: Interval, earlier: Interval) -> Interval:
    """Return the hours between two readings; both in UTC seconds, shape (n,)."""
    return scale(subtract(later, earlier), _HOUR)


@measure(
    "elapsed_days",
    inputs=[TimeOf("later"), TimeOf("earlier")],
    unit="d",
    says="days of 24 h between the times of two values, with fractions",
    source="arithmetic: elapsed time, 24 h a day",
)
def elapsed_days(later: Interval, earlier: Interval) -> Interval:
    """Return the time between two readings in days of 24 h, with fractions; both in UTC seconds, shape (n,)."""
    return scale(subtract(later, earlier), _DAY)


@measure(
    "corrected_age",
    inputs=[AgeAt(VISIT, "d"), Of("gestation", "d")],
    unit="d",
    says="calendar days since 40 weeks and 0 days, negative before",
    source=_ENGLE,
    basis="term is 40 weeks",
)
def corrected_age(age_days: Interval, gestation_days: Interval) -> Interval:
    """Return the age in days counted from 40 weeks and 0 days; negative before term. Shape (n,), days in, days out."""
    return add(add(age_days, gestation_days), BEFORE_TERM)


@measure(
    "postmenstrual_age",
    inputs=[AgeAt(VISIT, "d"), Of("gestation", "d")],
    unit="d",
    says="gestation at birth and calendar days since",
    source=_ENGLE,
)
def postmenstrual_age(age_days: Interval, gestation_days: Interval) -> Interval:
    """Return gestation at birth plus age since birth, in days, shape (n,)."""
    return add(age_days, gestation_days)


def _minutes(span: Fraction) -> str:
    """Print hours as hours and whole minutes, never more than there are."""
    hours, minutes = divmod(span * 60 // 1, 60)
    return f"{hours} h {minutes} min"


def _closes(left: Interval, written: Mapping[str, str]) -> str:
    """Say how much of a window is left, or since when it is closed; both where the birth leaves it open."""
    least, most = left.span()
    if least is None or most is None:
        return f"{written['until']} from birth"
    if most < 0:
        gone = _minutes(-most) if least == most else f"{_minutes(-most)} to {_minutes(-least)}"
        return f"closed {gone} ago, {written['until']} from birth"
    if least < 0:
        return f"may be closed; at most {_minutes(most)} left of {written['until']} from birth"
    open_for = _minutes(least) if least == most else f"{_minutes(least)} to {_minutes(most)}"
    return f"{open_for} left of {written['until']} from birth"


@measure(
    "time_left",
    inputs=[AgeAt(VISIT, "h"), AmountOfTime("until", "h")],
    unit="h",
    says="hours until a window from birth closes, negative once it has",
    source="arithmetic: elapsed time",
    basis=_closes,
)
def time_left(age_h: Interval, until_h: Interval) -> Interval:
    """Return the hours until the age ``until_h`` is reached, negative once it is past; shape (n,). Exact."""
    return subtract(until_h, age_h)
