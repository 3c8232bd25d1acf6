"""What is doubtful in a visit: of several things one is so, and each is a visit of its own to decide."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from layette.engine.answer.resolved.grounds import Ground
from layette.engine.exact.times import DAY
from layette.engine.pack.written.subjects import SEX, SEXES
from layette.engine.terms import PRIORITIES
from layette.engine.visit.differing import one_value
from layette.engine.visit.recordings import Readings
from layette.engine.visit.unsure import beyond_count, measured_within_a_day, not_final, perhaps_of_the_last_day
from layette.engine.visit.visit import Recorded, Visit

STAT, ASAP = PRIORITIES.index("stat"), PRIORITIES.index("asap")

LOOK_AGAIN = "Look again now, and record what is right."
LEARN_THE_SEX = "Learn the sex at birth; look again with it in mind."
AWAIT_FINAL = "Learn the final value, or take it again now."
MEASURE_AGAIN = "Measure again now, or learn what was done about it."
LEARN_THE_TIME = "Learn when it was, and record the hour."


@dataclass(frozen=True)
class Change:
    """One of the things that may be so: recordings left out and put in, or a sex at birth.

    ``counts``: of those left out, the one recording of a moment that counts here.
    """

    without: tuple[Recorded, ...] = ()
    put_in: tuple[Recorded, ...] = ()
    sex: str | None = None
    counts: Recorded | None = None

    def of(self, visit: Visit) -> Visit:
        """Return the visit in which it is so."""
        left_out = _very(self.without) - {id(self.counts)}
        kept = tuple(r for r in visit.readings if id(r) not in left_out)
        return replace(visit, readings=(*kept, *self.put_in), sex=self.sex or visit.sex)


@dataclass(frozen=True)
class Doubtful:
    """Something of which one of several things is so; ``readings`` leave it open (none: the sex is not known).

    ``either``: what all ``ways`` bring is certain, since one of them is so; without it things may also be as they are
    read. What some bring from rank ``least`` on is to be judged: ``why``, and what ``settles`` it.
    """

    readings: tuple[Recorded, ...]
    ways: tuple[Change, ...]
    why: str
    settles: str
    either: bool = True
    least: int = ASAP

    @property
    def names(self) -> set[str]:
        """The findings that it is about, or the sex."""
        return {reading.finding for reading in self.readings} or {SEX}


@dataclass(frozen=True)
class Doubt:
    """What only some of the things that may be so bring, and presses: a person looks and decides."""

    ground: Ground
    about: Doubtful


def all_among(readings: Sequence[Recorded], others: Sequence[Recorded]) -> bool:
    """Whether each of ``readings`` is one of ``others``: this very recording, not an equal one."""
    return _very(readings) <= _very(others)


def _very(readings: Iterable[Recorded]) -> set[int]:
    return {id(reading) for reading in readings}


def doubtful(readings: Readings) -> Iterator[Doubtful]:
    """Yield what is doubtful in a visit, of what is known there."""
    visit = readings.visit
    for members in readings.conflicts():
        ways = tuple(Change(members, counts=one) for one in _once(members))
        yield Doubtful(members, ways, _why(members), LOOK_AGAIN)
    for unsettled in not_final(readings):
        why = "The latest value is not final, and an earlier one is."
        yield Doubtful(unsettled, (Change(without=unsettled),), why, AWAIT_FINAL, either=False)
    for parts in _once_each(beyond_count(readings)):
        counted = _very(parts)
        rest = tuple(r for r in visit.readings if r.finding == parts[0].finding and id(r) not in counted)
        why = "It was tried more often than the screen counts."
        yield Doubtful(parts, (Change(without=rest),), why, LOOK_AGAIN, either=False)
    for one in _once(perhaps_of_the_last_day(readings)):
        recent = one._replace(time=replace(one.time, lo=visit.at.lo - DAY))
        why = "It may lie within the last 24 hours; its hour is not known."
        yield Doubtful((one,), (Change((one,), (recent,)),), why, LEARN_THE_TIME, either=False)
    for one in measured_within_a_day(readings):
        if not visit.judged_since(one):
            why = "It was measured at another visit within the last day, and not again."
            seen = Change((one,), (one._replace(here=True),))
            yield Doubtful((one,), (seen,), why, MEASURE_AGAIN, either=False, least=STAT)
    if visit.sex is None:
        ways = tuple(Change(sex=sex) for sex in SEXES)
        yield Doubtful((), ways, "The sex at birth is not known.", LEARN_THE_SEX, either=False, least=STAT)


def _once(readings: Iterable[Recorded]) -> Iterator[Recorded]:
    """Yield one of those that say the same."""
    return (one for (one,) in _once_each((reading,) for reading in readings))


def _once_each(several: Iterable[tuple[Recorded, ...]]) -> Iterator[tuple[Recorded, ...]]:
    told = set()
    for readings in several:
        said = tuple(reading.said for reading in readings)
        if said not in told:
            told.add(said)
            yield readings


def _why(members: tuple[Recorded, ...]) -> str:
    if one_value(members):
        return "Recorded in two units, and a limit may lie between the two."
    return "Recorded more than once at one time, differing."


def pending(readings: Readings) -> Iterator[Doubtful]:
    """Yield what is less settled than what counts, and so clears nothing, but may alarm: each as if it were final."""
    for waiting in readings.awaiting_final():
        name, side = waiting[0].finding, waiting[0].side
        settled = (r for r in readings.visit.readings if (r.finding, r.side) == (name, side))
        without = waiting if readings.findings[name].readings else tuple(settled)
        counted = tuple(r._replace(status="final", reported=False) for r in waiting)
        why = "What was recorded later is not final."
        yield Doubtful(waiting, (Change(without, counted),), why, AWAIT_FINAL, either=False)


def standing(readings: Readings) -> Iterator[Doubtful]:
    """Yield what was abnormal at another visit and nobody looked at again: each as if it were seen today."""
    for one in readings.not_looked_at_again():
        if not readings.visit.judged_since(one):
            seen = Change((one,), (one._replace(here=True),))
            why = "It was so at an earlier visit, and nobody looked at it again."
            yield Doubtful((one,), (seen,), why, LOOK_AGAIN, either=False)
