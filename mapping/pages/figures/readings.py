"""The numbers of a visit over the baby's age, as the figures want them."""

from __future__ import annotations

from dataclasses import dataclass, replace

from layette.engine.exact.ranges import Range
from layette.engine.exact.times import day_number
from layette.engine.pack.written.shapes import listed
from layette.engine.terms import WITHDRAWN
from layette.engine.visit.visit import Recorded, Visit
from layette.mapping.text.values import units

_HOUR = 3600
UNSETTLED = frozenset({"preliminary", "registered", "unknown"})
"""The statuses of a recording that may still change."""


@dataclass(frozen=True)
class Seen:
    """One number: hours and calendar days of age, the value in its finding's unit, as written, and whether final."""

    hours: float
    days: int
    value: float
    written: str
    final: bool


def numbers(visit: Visit, finding: str) -> list[Seen]:
    """Return the numbers recorded of a finding by rising age; one that is only bounded, or was withdrawn, is left out.

    A time that is known to the day alone stands in the middle of what it may be.
    """
    found = [
        Seen(_age(visit, one), _days(visit, one), float(one.possible.lo), units(one.given), one.status == "final")
        for one in visit.readings
        if one.finding == finding and one.status not in WITHDRAWN
        and isinstance(one.possible, Range) and one.possible.exact and one.possible.lo is not None
    ]  # fmt: skip
    return sorted(found, key=lambda seen: (seen.hours, seen.value))


def at_birth(visit: Visit, finding: str) -> list[Seen]:
    """Return what was recorded of a fact of birth, each value once: of the hour of birth, whenever it was entered."""
    return list(dict.fromkeys(replace(one, hours=0.0, days=0) for one in numbers(visit, finding)))


def made_here(visit: Visit) -> dict[str, list[Recorded]]:
    """Return the recordings of this visit that stand, by finding."""
    found: dict[str, list[Recorded]] = {}
    for one in visit.readings:
        if one.here and one.status not in WITHDRAWN:
            found.setdefault(one.finding, []).append(one)
    return found


def value(visit: Visit, finding: str) -> str | None:
    """Return the one value that was recorded of a finding, None where none or several were."""
    found = {
        tuple(sorted(one.possible))
        for one in visit.readings
        if one.finding == finding and one.status not in WITHDRAWN and isinstance(one.possible, frozenset)
    }
    [only] = found if len(found) == 1 else [()]
    return only[0] if len(only) == 1 else None


def expected(values: str | list[str] | None) -> frozenset[str]:
    """Return the values that a healthy newborn shows."""
    return frozenset(listed(values))


def age_now(visit: Visit) -> float:
    """Return the age at the visit in hours."""
    return (visit.at.lo - visit.born.lo) / _HOUR


def _days(visit: Visit, one: Recorded) -> int:
    return max(day_number(one.time.lo, visit.zone) - day_number(visit.born.lo, visit.zone), 0)


def _age(visit: Visit, one: Recorded) -> float:
    when, born = (one.time.lo + one.time.hi) / 2, (visit.born.lo + visit.born.hi) / 2
    return max((when - born) / _HOUR, 0.0)
