"""Which of several recordings a view looks at, which it leaves aside, and why.

Withdrawn recordings are listed and never used. An examination counts only for the visit at which it was made; birth
facts, results and screens (`carries_over`) count from any. Of this visit's, what is more settled counts (`settled.py`);
at one time, corrected comes before final before preliminary. If values still differ, it is one of these
(`differing.py`), and all are shown. An attempt without a value counts only where there is no value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from layette.engine.exact.units import seconds
from layette.engine.pack.written.shapes import FindingShape
from layette.engine.pack.written.shapes import listed as named
from layette.engine.terms import WITHDRAWN
from layette.engine.visit.differing import agreed, one_of, one_value
from layette.engine.visit.settled import SETTLED, most_settled, pending, unrevised
from layette.engine.visit.visit import Recorded, Visit

_RANK = {"corrected": 0, "amended": 0, "final": 1, "preliminary": 2, "registered": 2, "unknown": 3}

Where = tuple[str, str]
"""Finding and side."""


class Chosen(NamedTuple):
    """The recording that a view looks at; None: there is none that can be used.

    ``everything`` is what there was to choose from. What was left aside, and why, is worked out for whoever asks.
    ``members``: the recordings of one moment that ``used`` joins; ``differ``: whether they say different things.
    ``pending``: later values that are less settled than the one in use.
    """

    used: Recorded | None
    everything: tuple[Recorded, ...] = ()
    members: tuple[Recorded, ...] = ()
    differ: bool = False
    pending: tuple[Recorded, ...] = ()

    @property
    def valued(self) -> Recorded | None:
        """The recording, if it has a value."""
        return self.used if self.used is not None and self.used.possible is not None else None

    @property
    def left(self) -> tuple[Recorded, ...]:
        """The recordings that are not used."""
        members = {*self.members}
        return tuple(r for r in self.everything if r is not self.used and r not in members)

    @property
    def why(self) -> str:
        """Why the others are not used; empty where there are none."""
        if self.differ:
            return "recorded more than once at one time, differing: one of these"
        if self.members and not self.left:
            return "one value, in two units"
        left = self.left
        if not left:
            return ""
        return _why_none(left) if self.used is None else _why_left(self.used, left)


NOTHING = Chosen(None)


class Readings:
    """The recordings of one visit, by finding and side."""

    def __init__(self, visit: Visit, findings: Mapping[str, FindingShape]) -> None:
        """Sort the recordings of ``visit`` by finding and side."""
        self.visit = visit
        self.findings = findings
        self.by_place: dict[Where, list[Recorded]] = {}
        self.has_earlier = False
        for reading in visit.readings:
            place = (reading.finding, reading.side)
            if place in self.by_place:
                self.by_place[place].append(reading)
            else:
                self.by_place[place] = [reading]
            if not reading.here:
                self.has_earlier = True
        self._valued: dict[Where, list[Recorded]] = {}
        self._latest: dict[Where, Chosen] = {}
        self._earlier: dict[Where, Chosen] = {}
        self._attempts: dict[str, list[dict[str, Recorded]]] = {}
        self._parts_joined: list[Chosen] = []
        self.in_use: dict[Where, Recorded | None] = {}
        for place, listed in self.by_place.items():
            first = listed[0]
            if len(listed) > 1:
                self.in_use[place] = self.latest(*place).used
            elif (first.here or findings[place[0]].carries_over) and first.status not in WITHDRAWN:
                self.in_use[place] = first
            else:
                self.in_use[place] = None

    @property
    def repeated(self) -> list[Where]:
        """The findings and sides of which there are several recordings."""
        return [place for place, listed in self.by_place.items() if len(listed) > 1]

    def all(self, finding: str, side: str) -> list[Recorded]:
        """Return every recording that was not withdrawn."""
        return [r for r in self.by_place.get((finding, side), ()) if r.status not in WITHDRAWN]

    def used(self, finding: str, side: str = "") -> Recorded | None:
        """Return the recording that `latest` uses, without the reasons."""
        return self.in_use.get((finding, side))

    def value(self, finding: str, side: str = "") -> Recorded | None:
        """Return the recording that `latest` uses, if it has a value."""
        used = self.used(finding, side)
        return used if used is not None and used.possible is not None else None

    def latest(self, finding: str, side: str = "") -> Chosen:
        """Return the latest recording that counts at this visit."""
        where = (finding, side)
        chosen = self._latest.get(where)
        if chosen is None:
            listed = self.by_place.get(where, ())
            chosen = self._of_one(listed[0]) if len(listed) == 1 else self._of_several(finding, listed)
            self._latest[where] = chosen
        return chosen

    def _of_one(self, reading: Recorded) -> Chosen:
        counts = (reading.here or self.findings[reading.finding].carries_over) and reading.status not in WITHDRAWN
        return Chosen(reading if counts else None, (reading,))

    def _of_several(self, finding: str, everything: Sequence[Recorded]) -> Chosen:
        carried = self.findings[finding].carries_over
        current = [r for r in everything if (r.here or carried) and r.status not in WITHDRAWN]
        if any(r.possible is not None and not r.spread_from for r in current):
            current = [r for r in current if not r.spread_from]
        current = _known(current, self.findings[finding])
        settled = most_settled(current)
        chosen = choose(settled, everything)
        if len(settled) < len(current):
            chosen = chosen._replace(pending=pending(chosen.valued, current))
        return chosen

    def conflicts(self) -> list[tuple[Recorded, ...]]:
        """Return each set of recordings of one moment that are joined to one: of this visit, and of the one before.

        Of numbers also those of the moment before the latest, from which a rate of change is counted. Those of one
        value in two units are among them: a limit may lie between the two.
        """
        several = self.repeated
        plain = [place for place in several if not self.findings[place[0]].readings]
        chosen = [self.latest(*place) for place in plain]
        if self.has_earlier:
            chosen += [self.earlier(*place) for place in plain]
        chosen += [self._before_latest(place) for place in plain if self.findings[place[0]].number]
        for name in dict.fromkeys(name for name, _ in several if self.findings[name].readings):
            self.attempts(name)
        return [*dict.fromkeys(one.members for one in (*chosen, *self._parts_joined) if one.members and one.valued)]

    def parts_joined(self, finding: str) -> list[Chosen]:
        """Return what counts of each part of a finding that was recorded more than once at one moment."""
        self.attempts(finding)
        return [chosen for chosen in self._parts_joined if chosen.members[0].finding == finding]

    def awaiting_final(self) -> list[tuple[Recorded, ...]]:
        """Return what is less settled than what counts, and may alarm: later values, and attempts at a screen."""
        later = [self.latest(*place).pending for place in self.repeated if not self.findings[place[0]].readings]
        return [values for values in (*later, tuple(self._unsettled_parts())) if values]

    def not_looked_at_again(self) -> list[Recorded]:
        """Return what the last other visit found that stands until somebody looks again (`stands`), if nobody did."""
        if not self.has_earlier:
            return []
        stand = []
        for finding, side in self.by_place:
            standing = self.findings[finding].stands
            if not standing or any(r.here and r.possible is not None for r in self.all(finding, side)):
                continue
            before = [r for r in self.all(finding, side) if not r.here and r.possible is not None]
            last = choose([r for r in before if r.status in SETTLED] or before, before).valued
            if last is not None and isinstance(last.possible, frozenset) and last.possible <= {*standing}:
                stand.append(last)
        return stand

    def earlier(self, finding: str, side: str = "") -> Chosen:
        """Return the last recording of another visit."""
        where = (finding, side)
        if where not in self._earlier:
            everything = self.by_place.get(where, [])
            before = [r for r in everything if not r.here and r.status not in WITHDRAWN]
            self._earlier[where] = choose(before, everything)
        return self._earlier[where]

    def latest_values(self, finding: str, side: str = "") -> list[Recorded]:
        """Return the recordings with a value, one a time, the latest first."""
        groups = self._by_moment((finding, side))
        chosen = [group[0] if len(group) == 1 else choose(group, group).valued for group in groups]
        return [reading for reading in chosen if reading is not None]

    def _before_latest(self, where: Where) -> Chosen:
        groups = self._by_moment(where) if len(self.by_place[where]) > 2 else []  # two are of two moments, or of one
        return choose(groups[1], groups[1]) if len(groups) > 1 and len(groups[1]) > 1 else NOTHING

    def _by_moment(self, where: Where) -> list[list[Recorded]]:
        """Return the recordings with a value by their time, the latest first."""
        by_time: dict[tuple[int, int], list[Recorded]] = {}
        for reading in self._with_value(where):
            by_time.setdefault((reading.time.hi, reading.time.lo), []).append(reading)
        return [by_time[time] for time in sorted(by_time, reverse=True)]

    def within(self, finding: str, side: str, over: int | None) -> tuple[list[Recorded], list[Recorded]]:
        """Return the recordings with a value that surely, and possibly, lie in the last ``over`` seconds."""
        valued = self._with_value((finding, side))
        if over is None:
            return valued, valued
        start = self.visit.at.lo - over
        return [r for r in valued if r.time.lo >= start], [r for r in valued if r.time.hi >= start]

    def _with_value(self, where: Where) -> list[Recorded]:
        if where not in self._valued:
            self._valued[where] = unrevised([r for r in self.all(*where) if r.possible is not None])
        return self._valued[where]

    def attempts(self, finding: str) -> list[dict[str, Recorded]]:
        """Return the attempts at a finding that is read in parts, in order of time: part -> recording."""
        if finding not in self._attempts:
            self._attempts[finding] = self._grouped(finding)
        return self._attempts[finding]

    def _unsettled_parts(self) -> Iterator[Recorded]:
        for (finding, _), listed in self.by_place.items():
            shape = self.findings[finding]
            for r in listed if shape.readings else ():
                counts = r.possible is not None and (r.here or shape.carries_over) and r.status not in WITHDRAWN
                if counts and r.status not in SETTLED:
                    yield r

    def _grouped(self, finding: str) -> list[dict[str, Recorded]]:
        shape = self.findings[finding]
        assert shape.readings is not None
        together = seconds(shape.readings.together)
        at_once: dict[tuple[int, str, int], list[Recorded]] = {}
        for r in unrevised(self.all(finding, "")):
            # an attempt that is not final may fail a screen, never pass it: it waits (`awaiting_final`)
            if r.possible is not None and (r.here or shape.carries_over) and r.status in SETTLED:
                at_once.setdefault((r.time.lo, r.part, r.time.hi), []).append(r)
        groups: list[tuple[int, set[str], dict[str, Recorded]]] = []
        for (start, part, _), several in sorted(at_once.items()):
            if not groups or start - groups[-1][0] > together or part in groups[-1][1]:
                groups.append((start, set(), {}))
            groups[-1][1].add(part)
            chosen = choose(several, several)
            if chosen.members:
                self._parts_joined.append(chosen)
            if chosen.valued is not None:
                groups[-1][2][part] = chosen.valued
        return [parts for _, _, parts in groups]


def _known(current: list[Recorded], shape: FindingShape) -> list[Recorded]:
    """Leave out "asked, and not known" where something of note is known for sure: not knowing takes no result back.

    What is expected, and what is not final, hides no question that nobody could answer.
    """
    if shape.not_known is None:
        return current
    calm = {*named(shape.expected), shape.not_known}
    settled = (r.possible for r in current if r.status in SETTLED)
    known = any(isinstance(values, frozenset) and not values & calm for values in settled)
    return [r for r in current if r.possible != frozenset({shape.not_known})] if known else current


def choose(current: Sequence[Recorded], everything: Sequence[Recorded]) -> Chosen:
    """Choose the latest of ``current`` with a value, else the latest attempt, out of ``everything``."""
    pool = [r for r in current if r.possible is not None] or current
    if not pool:
        return Chosen(None, tuple(everything)) if everything else NOTHING
    best = pool if len(pool) == 1 else _latest(pool)
    exact = best[0] if len(best) == 1 else agreed(best)
    if exact is not None:
        return Chosen(_finest(exact, pool), tuple(everything))
    joined = one_of(best)
    return Chosen(joined, tuple(everything), tuple(best), joined.possible is not None and not one_value(best))


def _latest(pool: Sequence[Recorded]) -> list[Recorded]:
    """Return those that may be the latest: no other is surely later. At one time, by status."""
    last = max([r.time.lo for r in pool])
    found = [r for r in pool if r.time.hi >= last]
    if not all(r.of_both for r in found):  # a side recorded by itself comes before a normal of both
        found = [r for r in found if not r.of_both]
    if len(found) == 1 or any(r.time != found[0].time for r in found):
        return found
    rank = min(_RANK.get(r.status, 3) for r in found)
    return [r for r in found if _RANK.get(r.status, 3) == rank]


def _finest(last: Recorded, pool: Sequence[Recorded]) -> Recorded:
    """Return the recording of the same visit that says the same as the latest, more exactly; else the latest.

    A diagnosis "jaundice", entered after "yellow to the legs" was charted, takes nothing back.
    """
    if len(pool) == 1 or not last.here or not isinstance(last.possible, frozenset):
        return last
    finer = [
        r for r in pool if r.here == last.here and isinstance(r.possible, frozenset) and r.possible < last.possible
    ]
    return max(finer, key=lambda r: (r.time.hi, r.order), default=last)


def _why_none(everything: Sequence[Recorded]) -> str:
    if all(r.status in WITHDRAWN for r in everything):
        return "withdrawn (entered in error or cancelled)"
    return "from another visit: an examination counts only for the visit at which it was made"


def _why_left(used: Recorded, rest: tuple[Recorded, ...]) -> str:
    reasons = []
    if any(r.spread_from and not used.spread_from for r in rest):
        reasons.append("what was recorded by itself counts before a normal of the whole system")
    if any(r.status in WITHDRAWN for r in rest):
        reasons.append("withdrawn ones are never used")
    if any(r.time.hi > used.time.hi for r in rest if r.status not in WITHDRAWN):
        reasons.append("the later one says the same, less exactly")
    if any(r.time.hi < used.time.hi for r in rest if r.status not in WITHDRAWN):
        reasons.append("the latest counts")
    if any(r.time == used.time and r.status != used.status for r in rest if r.status not in WITHDRAWN):
        reasons.append("corrected before final before preliminary")
    return "; ".join(reasons) or "the same value again"
