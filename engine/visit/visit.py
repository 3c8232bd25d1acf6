"""A visit: one newborn at one moment, as it was read and checked (`engine.visit.reader`)."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from itertools import chain
from typing import Any, NamedTuple

from layette.engine.exact.ranges import Possible
from layette.engine.exact.times import Moment, day_number


class Recorded(NamedTuple):
    """One recording of one finding. A visit has many, so it is a tuple, which is made fastest.

    ``possible`` is what it can be (None: attempted without a value, ``absent`` says why). ``here``: made at this visit.
    ``given`` is the value as it was written, with its unit. ``of_both``: as expected, and said of both sides at once.
    """

    finding: str
    side: str
    part: str
    time: Moment
    possible: Possible | None
    absent: str
    status: str
    here: bool
    given: str
    converted: str
    qualifiers: tuple[tuple[str, str], ...]
    origin: str
    path: str
    reported: bool
    spread_from: str = ""
    of_both: bool = False

    @property
    def order(self) -> tuple[Any, ...]:
        """The canonical place among the readings of a visit."""
        return (self.finding, self.side, self.part, self.time.lo, self.time.hi, self.status, self.given, self.absent,
                self.qualifiers, self.origin, self.spread_from, self.reported, self.here, self.of_both)  # fmt: skip

    @property
    def said(self) -> Hashable:
        """What rules can tell it by; recordings that say the same decide alike, wherever and however they stood."""
        return (self.finding, self.side, self.part, self.time.lo, self.time.hi, self.possible, self.absent, self.status,
                self.here, self.qualifiers, self.reported, self.spread_from, self.of_both)  # fmt: skip


def in_order(readings: Iterable[Recorded]) -> tuple[Recorded, ...]:
    """Return recordings in their canonical order; most are alone at their finding and side, and need no more."""
    by_place: dict[tuple[str, str], list[Recorded]] = {}
    for one in readings:
        by_place.setdefault((one.finding, one.side), []).append(one)
    places = (by_place[place] for place in sorted(by_place))
    return tuple(chain.from_iterable(p if len(p) == 1 else sorted(p, key=lambda r: r.order) for p in places))


@dataclass(frozen=True, slots=True)
class PlacedOrder:
    """An order of the history; a draft with both keys is a proposal of ours, from ``start`` until ``until``.

    ``reason``: why it has its status, such as why it was declined, in the words of the record; no rule reads it.
    """

    target: str
    side: str
    status: str
    priority: str | None
    time: Moment | None
    reference: str
    request_key: str = ""
    answer_key: str = ""
    start: Moment | None = None
    until: Moment | None = None
    reason: str = ""


@dataclass(frozen=True, slots=True)
class GivenTopic:
    """A guidance topic that was given, or a dose: its name and when."""

    name: str
    time: Moment | None
    reference: str


@dataclass(frozen=True, slots=True)
class Judged:
    """How somebody read a value that was to be judged, or "seen, not of concern"; it settles that value only.

    ``name`` is a finding or a target; ``of`` the time of the value, ``by`` who judged it, ``outcome`` in their words.
    """

    name: str
    side: str
    of: Moment
    by: str
    time: Moment | None
    outcome: str


@dataclass(frozen=True, slots=True)
class NotRead:
    """What came along and could not be read: the finding of which it would have told, else what it says in words."""

    finding: str
    said: str
    of_mother: bool = False


@dataclass(frozen=True, slots=True)
class Visit:
    """One newborn at one moment; see `schemas/visit.md` for the meaning of each part."""

    at: Moment
    until: Moment
    born: Moment
    zone: tzinfo
    sex: str | None
    readings: tuple[Recorded, ...]
    orders: tuple[PlacedOrder, ...]
    guidance: tuple[GivenTopic, ...]
    immunizations: tuple[GivenTopic, ...]
    complete: frozenset[str]
    settings: Mapping[str, str]
    patient: str | None
    encounter: str | None
    identifiers: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    judged: tuple[Judged, ...] = ()
    unread: tuple[NotRead, ...] = ()

    def judged_since(self, reading: Recorded, target: str | None = None, side: str = "") -> bool:
        """Whether somebody said of this very recording how it is to be taken; nobody judges what is yet to be made.

        With ``target`` (and its side) whether that was said by naming what the recording could bring.
        """
        name, of_side = (reading.finding, reading.side) if target is None else (target, side)
        return any(
            j.name == name and j.side in ("", of_side) and j.of.lo <= reading.time.hi
            and reading.time.lo <= j.of.hi and (j.time is None or j.time.hi >= reading.time.lo)
            for j in self.judged
        )  # fmt: skip

    @property
    def age_days(self) -> int:
        """Age in calendar days at the visit, by the earliest possible birth."""
        return day_number(self.at.lo, self.zone) - day_number(self.born.lo, self.zone)
