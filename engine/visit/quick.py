"""What most recordings look like, read in one go.

Only what is right in every respect is read here: known keys, a value of the finding, a time within the visit. Of all
else nothing is said; `items.ItemReader` reads it part by part, and words what is wrong. So both always give the same
recordings, and there is one place where mistakes are told.

What a recording says without its time and its origin is worked out once: the same few values come again and again.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from operator import itemgetter
from typing import Any, NamedTuple

from layette.engine.exact.days import Days
from layette.engine.exact.ranges import Possible
from layette.engine.exact.times import Moment, moment
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.pack.written.subjects import Subjects
from layette.engine.terms import STATUSES
from layette.engine.visit.values import read_value
from layette.engine.visit.visit import Recorded

ASKED_UNKNOWN = "asked-unknown"
"""FHIR's data-absent-reason of a question that was asked, and whose answer nobody knew."""

_SAYING = frozenset({"value", "unit", "side", "status", "absent", "reported", "given"})
_PLACED = frozenset({"time", "origin", "path"})
_FURTHER = frozenset({"age", "part", "charted_by"})
_STATUSES = frozenset(STATUSES)
_DIGITS = re.compile(r"[0-9]{1,9}(?:\.[0-9]{1,6})?", re.ASCII)
_NUMBERS = frozenset({str, int, float, Decimal})
_NEW = tuple.__new__
"""Makes a recording of all its fields at once, by the shortest way: a visit has some hundred."""
_MOST_KNOWN = 2_000
_MOST_LAYOUTS = 50


class Said(NamedTuple):
    """What a recording says of one side, wherever and whenever it was made."""

    side: str
    possible: Possible | None
    absent: str
    status: str
    given: str
    converted: str
    qualifiers: tuple[tuple[str, str], ...]
    reported: bool
    of_both: bool


@dataclass(frozen=True, slots=True)
class Layout:
    """Recordings with the same keys: ``what`` picks those that say something, ``known`` is what they said so far."""

    what: Callable[[Mapping[str, Any]], Any]
    timed: bool
    known: dict[Any, tuple[Said, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Usual:
    """How a finding is usually recorded, under its name or under its name with a side.

    ``where``: the sides, by what a recording says of its side. ``answers``: what each word can be.
    """

    name: str
    of_baby: bool
    shape: FindingShape
    where: Mapping[str, tuple[str, ...]]
    answers: Mapping[str, frozenset[str]]
    calm: frozenset[str]
    layouts: dict[tuple[str, ...], Layout] = field(default_factory=dict)

    def layout(self, keys: tuple[str, ...]) -> Layout | None:
        """Return the layout with these keys; None where one of them is not usual, or nothing is said."""
        saying = [key for key in keys if key in _SAYING or key in self.shape.qualifier]
        if not saying or len(saying) + len(_PLACED.intersection(keys)) < len(keys):
            return None
        if len(self.layouts) >= _MOST_LAYOUTS:
            self.layouts.clear()
        made = self.layouts[keys] = Layout(itemgetter(*saying), "time" in keys)
        return made

    def said(self, item: Mapping[str, Any], what: Any, layout: Layout) -> tuple[Said, ...] | None:
        """Return what ``item`` says; None where it is not usual. It is kept if it is all words and plain numbers."""
        key = what
        if self.shape.number is not None:  # 3 and 3.0 are equal, and written differently
            key = _as_written(what) if type(what) is not tuple else tuple([_as_written(part) for part in what])
            if key in layout.known:
                return layout.known[key]
        value, absent = item.get("value"), item.get("absent") or ""
        sides, reported = self.where.get(item.get("side", "")), item.get("reported", False)
        status, qualifiers = item.get("status", "final"), self._qualifiers(item)
        read = self._reason(value, absent) if absent else self._value(value, item.get("unit"))
        if sides is None or qualifiers is None or read is None or status not in _STATUSES or type(reported) is not bool:
            return None
        possible, given, converted = read
        given, absent = item.get("given") or given, "" if possible is not None else absent
        if not type(given) is type(absent) is str:
            return None
        of_both = len(sides) > 1 and isinstance(possible, frozenset) and possible <= self.calm
        made = tuple(
            Said(side, possible, absent, status, given, converted, qualifiers, reported, of_both) for side in sides
        )
        if all(type(part) is str for part in (key if type(key) is tuple else (key,))):  # 1 and True are equal
            if len(layout.known) >= _MOST_KNOWN:
                layout.known.clear()
            layout.known[key] = made
        return made

    def _value(self, value: Any, unit: Any) -> tuple[Possible, str, str] | None:
        if self.shape.number is None:
            possible = self.answers.get(value)
            return None if possible is None else (possible, value, "")
        usual = type(value) in _NUMBERS and _DIGITS.fullmatch(str(value)) is not None
        return read_value(self.shape, {}, value, unit, "", []) if usual else None

    def _reason(self, value: Any, absent: Any) -> tuple[Possible | None, str, str] | None:
        if value is not None:
            return None
        unknown = self.shape.not_known
        return (frozenset({unknown}), unknown, "") if unknown and absent == ASKED_UNKNOWN else (None, "", "")

    def _qualifiers(self, item: Mapping[str, Any]) -> tuple[tuple[str, str], ...] | None:
        found = {key: item[key] for key in self.shape.qualifier if key in item}
        if not all(type(value) is str and value in self.shape.qualifier[key] for key, value in found.items()):
            return None
        return tuple(sorted(found.items()))


def _as_written(part: Any) -> Any:
    return str(part) if type(part) in _NUMBERS else part


def usual_ones(subjects: Subjects) -> dict[Any, Usual | None]:
    """Return what is known so far of how findings are usually recorded, by name."""
    known: dict[Any, Usual | None] = subjects.derived.setdefault("usual", {})
    return known


def usual(subjects: Subjects, key: Any) -> Usual | None:
    """Return how the finding ``key`` is usually recorded; None where it is unknown, or not read here."""
    known = usual_ones(subjects)
    if type(key) is not str:
        return None
    if key in known:
        return known[key]
    name, _, side = key.partition(".")
    shape = subjects.findings.get(name)
    where = _where(shape, side) if shape else {}
    if shape is None or not where:  # a mistake: there is no end of them, so that none is kept
        return None
    made = known[key] = None if shape.readings else _usual(name, shape, where, subjects)
    return made


def _where(shape: FindingShape, side: str) -> dict[str, tuple[str, ...]]:
    if not shape.sides:
        return {} if side else {"": ("",)}
    sides = {"both": tuple(shape.sides), **{str(one): (str(one),) for one in shape.sides}}
    if not side:
        return sides
    return {"": sides[side], side: sides[side]} if side in sides else {}


def _usual(name: str, shape: FindingShape, where: dict[str, tuple[str, ...]], subjects: Subjects) -> Usual | None:
    if not (_SAYING | _PLACED | _FURTHER).isdisjoint(shape.qualifier):
        return None
    answers = {word: frozenset(values) for word, values in subjects.coarse(name).items()}
    answers |= {value: frozenset({value}) for value in shape.values or ()}
    return Usual(name, shape.subject == "baby", shape, where, answers, frozenset(listed(shape.expected)))


class QuickReader:
    """Reads usual recordings of one visit, whose times are known."""

    def __init__(self, at: Moment, until: Moment, born: Moment, days: Days) -> None:
        """Take the times of the visit."""
        self._at, self._until, self._born, self._days = at, until, born, days
        self._times: dict[bool, dict[str, Moment]] = {True: {}, False: {}}

    def read(self, usual: Usual, written: Any, path: str, *, here: bool) -> list[Recorded] | None:
        """Return what is recorded of a finding, once or in a list; None where any of it is not usual."""
        several = type(written) is list
        try:
            return self._read(usual, written if several else [written], path, several, here)
        except TypeError:  # a list or a mapping stands where a word is due
            return None

    def _read(self, usual: Usual, items: list[Any], path: str, several: bool, here: bool) -> list[Recorded] | None:
        made: list[Recorded] = []
        name, layouts, times = usual.name, usual.layouts, self._times[usual.of_baby]
        for number, item in enumerate(items):
            if type(item) is not dict:
                item = {"value": item}
            keys = tuple(item)
            layout = layouts.get(keys) or usual.layout(keys)
            if layout is None:
                return None
            what = layout.what(item)
            said = layout.known.get(what) or usual.said(item, what, layout)
            if layout.timed:
                time = times.get(item["time"]) or self._time(item["time"], usual.of_baby)
            else:
                time = self._at if here else None
            origin, place = item.get("origin") or "", item.get("path") or (f"{path}[{number}]" if several else path)
            if said is None or time is None or type(origin) is not str or type(place) is not str:
                return None
            for side, possible, absent, status, given, converted, further, reported, of_both in said:
                fields = (
                    name, side, "", time, possible, absent, status, here, given, converted, further, origin, place,
                    reported, "", of_both,
                )  # fmt: skip
                made.append(_NEW(Recorded, fields))
        return made

    def _time(self, text: Any, of_baby: bool) -> Moment | None:
        try:
            found = self._days.spread(moment(text, self._days.zone)) if type(text) is str else None
        except ValueError:
            return None
        if found is None or found.lo > self._until.hi or (of_baby and found.hi < self._born.lo):
            return None
        within = within_life(found, self._born if of_baby else None, self._until)
        made = self._times[of_baby][text] = self._days.printed(within)
        return made


def within_life(found: Moment, born: Moment | None, until: Moment) -> Moment:
    """Return a moment without what of it lies before birth (of the baby's findings), or after the visit."""
    lo = found.lo if born is None else max(found.lo, born.lo)
    hi = max(lo, min(found.hi, until.hi))
    return found if (lo, hi) == (found.lo, found.hi) else Moment(lo, hi, found.text)
