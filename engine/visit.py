"""A visit: one newborn at one moment, checked against the finding dictionary.

`read_visit` takes the flat form (`schemas/visit.md`), tells every mistake at once, and returns readings in one
canonical order, so that the order of the input never matters.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import tzinfo
from typing import Any

from .errors import InputError, InputProblem
from .model import FindingShape
from .quantities import UnitMismatchError, seconds
from .subjects import SEX, SEXES, Subjects
from .times import Moment, day_number, moment, named_zone, stamp, zone_of
from .values import Possible, read_value, shown

KEYS = {
    "layette_visit", "patient", "identifiers", "encounter", "born", "at", "until", "sex_at_birth", "findings",
    "history", "history_complete", "settings", "not_understood", "counts",
}  # fmt: skip
HISTORY_KEYS = ("findings", "orders", "guidance", "immunizations")
COMPLETE = ("observations", "orders", "guidance", "immunizations")
ITEM_KEYS = {"value", "unit", "time", "age", "side", "status", "absent", "origin", "path", "reported", "part", "given"}
VERSION = 1
STATUSES = (
    "registered", "preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error", "unknown",
)  # fmt: skip
"""FHIR's statuses of an observation."""
WITHDRAWN = ("entered-in-error", "cancelled")


@dataclass(frozen=True, slots=True)
class Recorded:
    """One recording of one finding.

    ``possible`` is what it can be (None: attempted without a value, ``absent`` says why). ``here``: made at this visit.
    ``given`` is the value as it was written, with its unit.
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

    @property
    def order(self) -> tuple[Any, ...]:
        """The canonical place among the readings of a visit."""
        return (self.finding, self.side, self.part, self.time.lo, self.time.hi, self.status, self.given, self.absent,
                self.qualifiers, self.origin, self.spread_from)  # fmt: skip


@dataclass(frozen=True, slots=True)
class PlacedOrder:
    """An order of the history."""

    target: str
    side: str
    status: str
    priority: str | None
    time: Moment | None
    reference: str
    request_key: str = ""
    until: Moment | None = None


@dataclass(frozen=True, slots=True)
class Given:
    """A guidance topic that was given, or a dose: its name and when."""

    name: str
    time: Moment | None
    reference: str


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
    guidance: tuple[Given, ...]
    immunizations: tuple[Given, ...]
    complete: frozenset[str]
    settings: Mapping[str, str]
    patient: str | None
    encounter: str | None
    identifiers: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]

    @property
    def age_days(self) -> int:
        """Age in calendar days at the visit, by the earliest possible birth."""
        return day_number(self.at.lo, self.zone) - day_number(self.born.lo, self.zone)


@dataclass
class VisitReader:
    """Reads one flat visit; mistakes gather in ``problems``."""

    subjects: Subjects
    oldest_days: int
    timezone: str | None = None
    problems: list[InputProblem] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def read(self, flat: Mapping[str, Any], at: str | None = None) -> Visit:
        """Return the visit, or raise `InputError` with every mistake."""
        visit = self.attempt(flat, at)
        if self.problems or visit is None:
            raise InputError(self.problems)
        return visit

    def attempt(self, flat: Any, at: str | None = None) -> Visit | None:
        """Return what could be read (None where not even the times could); see ``problems``."""
        if not isinstance(flat, Mapping):
            self._problem(
                "$",
                "structure",
                "a visit is a mapping",
                found=type(flat).__name__,
                expected="a mapping with born, at, findings",
            )
            return None
        for key in flat.keys() - KEYS:
            self._problem(
                str(key), "structure", "a visit has no such part", found=str(key), expected=", ".join(sorted(KEYS))
            )
        if flat.get("layette_visit", VERSION) != VERSION:
            found = flat["layette_visit"]
            self._problem("layette_visit", "structure", "another version of this form", found, str(VERSION))
        if not _printable(flat):
            self._problem("$", "structure", "text with half a character in it", expected="text in Unicode")
            return None
        times = self._times(flat, at)
        if times is None:
            return None
        when, born, zone = times
        self._check_age(when, born, zone)
        until = self._until(flat.get("until"), when, zone)
        items = _Items(self, when, until, born, zone)
        history = flat.get("history") or {}
        if not isinstance(history, Mapping):
            self._problem("history", "structure", "the history is a mapping", expected=", ".join(HISTORY_KEYS))
            history = {}
        for key in history.keys() - set(HISTORY_KEYS):
            message = "a history has no such part"
            self._problem(f"history.{key}", "structure", message, found=key, expected=", ".join(HISTORY_KEYS))
        readings = [*items.findings(flat.get("findings"), "findings", here=True)]
        readings += items.findings(history.get("findings"), "history.findings", here=False)
        self._not_understood(self.listed(flat.get("not_understood"), "not_understood"))
        return Visit(
            at=when,
            until=until,
            born=born,
            zone=zone,
            sex=self._sex(flat.get(SEX)),
            readings=tuple(sorted(readings, key=lambda r: r.order)),
            orders=tuple(sorted(items.orders(history.get("orders")), key=repr)),
            guidance=tuple(sorted(items.given(history.get("guidance"), "guidance", "topic"), key=repr)),
            immunizations=tuple(sorted(items.given(history.get("immunizations"), "immunizations", "code"), key=repr)),
            complete=frozenset(self._complete(flat.get("history_complete") or ())),
            settings=self._settings(flat.get("settings") or {}),
            patient=_text(flat.get("patient")),
            encounter=_text(flat.get("encounter")),
            identifiers=tuple(
                sorted(
                    (str(i.get("system", "")), str(i.get("value", "")))
                    for i in self.listed(flat.get("identifiers"), "identifiers")
                )
            ),
            warnings=tuple(sorted(self.warnings)),
        )

    def listed(self, written: Any, path: str) -> Iterator[Mapping[str, Any]]:
        """Yield the mappings of a list; report what is neither."""
        if written is None:
            return
        if not isinstance(written, list | tuple):
            self._problem(path, "structure", "a list is due here", type(written).__name__, "a list of mappings")
            return
        for k, item in enumerate(written):
            if isinstance(item, Mapping):
                yield item
            else:
                self._problem(f"{path}[{k}]", "structure", "a mapping is due here", type(item).__name__, "a mapping")

    def _problem(self, path: str, code: str, message: str, found: Any = "", expected: str = "") -> None:
        self.problems.append(InputProblem(path, code, message, shown(found), expected))

    def _times(self, flat: Mapping[str, Any], at: str | None) -> tuple[Moment, Moment, tzinfo] | None:
        written = at if at is not None else flat.get("at")
        if not isinstance(written, str):
            self._problem(
                "at", "time", "the moment of the visit is missing", written or "", "a date and time with offset"
            )
            return None
        try:
            zone = named_zone(self.timezone) if self.timezone else zone_of(written)
            when = moment(written, zone)
            if not when.exact:
                raise ValueError("the moment of the visit needs a time of day with its offset")
        except ValueError as error:
            self._problem("at", "time", str(error), written, "such as 2026-11-24T10:00:00-06:00")
            return None
        born = self._moment(flat.get("born"), "born", zone, "birth")
        if born is None:
            return None
        if born.lo > when.hi:
            self._problem("at", "time", "the visit lies before birth", written, f"a time after {born.text}")
            return None
        return when, Moment(born.lo, min(born.hi, when.hi), born.text), zone

    def _until(self, written: Any, when: Moment, zone: tzinfo) -> Moment:
        """Return the end of the visit: what is found up to then belongs to it; windows count from its start."""
        if written is None:
            return when
        end = self._moment(written, "until", zone)
        if end is not None and end.hi < when.lo:
            self._problem("until", "time", "the visit ends before it begins", written, f"not before {when.text}")
        return end if end is not None and end.hi >= when.lo else when

    def _moment(self, written: Any, path: str, zone: tzinfo, code: str = "time") -> Moment | None:
        if not isinstance(written, str):
            self._problem(
                path,
                code,
                "a date, or a date and time with offset, is missing",
                written or "",
                "such as 2026-11-24T10:00:00-06:00",
            )
            return None
        try:
            return moment(written, zone)
        except ValueError as error:
            self._problem(path, code, str(error), written, "a date, or a date and time with offset")
            return None

    def _check_age(self, when: Moment, born: Moment, zone: tzinfo) -> None:
        days = day_number(when.lo, zone) - day_number(born.hi, zone)
        if days > self.oldest_days:
            self._problem(
                "born", "age", f"the baby is {days} days old; this pack decides nothing after day {self.oldest_days}",
                born.text, f"an age of 0 to {self.oldest_days} days",
            )  # fmt: skip

    def _sex(self, written: Any) -> str | None:
        if written in SEXES:
            return str(written)
        if written not in (None, "unknown", "other"):
            self._problem(SEX, "value", "not a sex at birth", written, "male, female, unknown or other")
        return None

    def _complete(self, written: Any) -> Iterator[str]:
        for k, part in enumerate(written if isinstance(written, list | tuple) else [written]):
            if part in COMPLETE:
                yield str(part)
            else:
                self._problem(
                    f"history_complete[{k}]", "structure", "not a part of the history", part, ", ".join(COMPLETE)
                )

    def _settings(self, written: Any) -> dict[str, str]:
        out: dict[str, str] = {}
        if not isinstance(written, Mapping):
            self._problem("settings", "structure", "settings are a mapping by name", type(written).__name__)
            return out
        for name, choice in written.items():
            shape = self.subjects.settings.get(name)
            if shape is None or choice not in list(shape.choices):
                known = ", ".join(shape.choices) if shape else ", ".join(self.subjects.settings)
                self._problem(f"settings.{name}", "setting", "no such setting or choice", choice, known)
            else:
                out[str(name)] = str(choice)
        return out

    def _not_understood(self, items: Any) -> None:
        for item in items:
            parts = [str(item[key]) for key in ("text", "code", "why") if item.get(key)]
            self.warnings.append(f"{item.get('path', '?')}: kept, not understood: " + "; ".join(parts))


@dataclass
class _Items:
    """Reads the findings and history of one visit, whose times are known."""

    reader: VisitReader
    at: Moment
    until: Moment
    born: Moment
    zone: tzinfo

    def findings(self, written: Any, base: str, *, here: bool) -> Iterator[Recorded]:
        if written is None:
            return
        if not isinstance(written, Mapping):
            self.reader._problem(base, "structure", "findings are a mapping by name", type(written).__name__)
            return
        for key, value in written.items():
            name, _, side = str(key).partition(".")
            shape = self.reader.subjects.findings.get(name)
            if shape is None and name in self.reader.subjects.normals:
                yield from self.system(name, value, f"{base}.{key}", here=here)
                continue
            if shape is None:
                self.reader._problem(f"{base}.{key}", "unknown-finding", "the pack has no such finding", key)
                continue
            several = isinstance(value, list)
            for k, item in enumerate(value if several else [value]):
                path = f"{base}.{key}[{k}]" if several else f"{base}.{key}"
                yield from self.finding(name, shape, side, item, path, here=here)

    def system(self, name: str, value: Any, path: str, *, here: bool) -> Iterator[Recorded]:
        """Spread a "normal" of a whole system over exactly the findings that the dictionary lists for it."""
        shape = self.reader.subjects.normals[name]
        fields = dict(value) if isinstance(value, Mapping) else {"value": value}
        path = str(fields.get("path") or path)
        if fields.get("value") != "normal":
            said = fields.get("value") or fields.get("absent") or "nothing"
            self.reader.warnings.append(
                f"{path}: '{shape.label}' is charted as {said}: no finding of it is known by that"
            )
            return
        for finding, component in shape.spreads.items():
            part = self.reader.subjects.findings[finding]
            item = {**fields, "value": component, "path": path}
            for recorded in self.finding(finding, part, "both" if part.sides else "", item, path, here=here):
                yield replace(recorded, spread_from=shape.label)

    def finding(
        self, name: str, shape: FindingShape, side: str, item: Any, path: str, *, here: bool
    ) -> Iterator[Recorded]:
        fields = dict(item) if isinstance(item, Mapping) and not _is_range(item) else {"value": item}
        path = str(fields.get("path") or path)
        qualifiers = {key: str(fields[key]) for key in shape.qualifier if key in fields}
        parts = shape.readings.parts if shape.readings else []
        self.one_thing(name, fields, side, parts, path)
        for key in fields.keys() - ITEM_KEYS - qualifiers.keys() - set(parts):
            self.reader._problem(path, "structure", f"'{name}' has no part '{key}'", key)
        for key, value in qualifiers.items():
            if value not in shape.qualifier[key]:
                self.reader._problem(
                    f"{path}.{key}", "value", f"not a {key} of '{name}'", value, ", ".join(shape.qualifier[key])
                )
        time = self.time(fields, path, shape, here=here)
        if time is None:
            return
        for one_side in self.sides(name, shape, side or str(fields.get("side") or ""), path):
            for part, value in self.by_part(shape, fields, path):
                made = self.recorded(name, shape, fields, value, path, part)
                if made is not None:
                    possible, given, converted = made
                    yield Recorded(
                        finding=name,
                        side=one_side,
                        part=part,
                        time=time,
                        possible=possible,
                        absent=str(fields.get("absent") or ""),
                        status=str(fields.get("status") or "final"),
                        here=here,
                        given=str(fields.get("given") or given),
                        converted=converted,
                        qualifiers=tuple(sorted(qualifiers.items())),
                        origin=str(fields.get("origin") or ""),
                        path=path,
                        reported=bool(fields.get("reported")),
                    )

    def one_thing(self, name: str, fields: Mapping[str, Any], side: str, parts: list[str], path: str) -> None:
        """Report a recording that says two things at once, or whose marks are not of their kind."""
        problem = self.reader._problem
        valued = [key for key in ("value", *parts) if fields.get(key) is not None]
        if fields.get("absent") and valued:
            found = f"{', '.join(valued)} and absent: {fields['absent']}"
            problem(
                path, "contradiction", f"'{name}' has a value and a reason why it has none", found, "one of the two"
            )
        if side and fields.get("side") not in (None, "", side):
            problem(path, "contradiction", f"two sides for one '{name}'", f"{side} and {fields['side']}", "one side")
        if "time" in fields and "age" in fields:
            problem(path, "contradiction", "two moments for one recording", "time and age", "one of the two")
        if fields.get("status", "final") not in STATUSES:
            problem(f"{path}.status", "value", "no status of an observation", fields["status"], ", ".join(STATUSES))
        if not isinstance(fields.get("reported", False), bool):
            problem(
                f"{path}.reported", "structure", "this is either true or false", fields["reported"], "true or false"
            )

    def sides(self, name: str, shape: FindingShape, side: str, path: str) -> tuple[str, ...]:
        if not shape.sides:
            if side:
                self.reader._problem(path, "side", f"'{name}' has no sides", side)
            return ("",)
        if side == "both":
            return tuple(shape.sides)
        if side in shape.sides:
            return (side,)
        if side:
            self.reader._problem(path, "side", f"not a side of '{name}'", side, f"{', '.join(shape.sides)} or both")
        else:
            self.reader.warnings.append(f"{path}: '{shape.label}' does not say which side; it counts as not known")
        return ()

    def by_part(self, shape: FindingShape, fields: Mapping[str, Any], path: str) -> Iterator[tuple[str, Any]]:
        if shape.readings is None:
            yield "", fields.get("value")
            return
        named = [part for part in shape.readings.parts if part in fields]
        if fields.get("part") in shape.readings.parts:
            yield str(fields["part"]), fields.get("value")
        elif named:
            for part in named:
                yield part, fields[part]
        elif "absent" in fields:
            for part in shape.readings.parts:
                yield part, None
        else:
            self.reader._problem(
                path, "structure", "this finding is read in parts", expected=" and ".join(shape.readings.parts)
            )

    def recorded(
        self, name: str, shape: FindingShape, fields: Mapping[str, Any], value: Any, path: str, part: str
    ) -> tuple[Possible | None, str, str] | None:
        if fields.get("absent"):
            return None, "", ""
        if value is None:
            self.reader._problem(path, "value", f"'{name}' has neither a value nor a reason why it has none")
            return None
        coarse = self.reader.subjects.coarse(name)
        return read_value(shape, coarse, value, fields.get("unit"), path, self.reader.problems)

    def time(self, fields: Mapping[str, Any], path: str, shape: FindingShape, *, here: bool) -> Moment | None:
        if "age" in fields:
            return self.at_age(str(fields["age"]), f"{path}.age")
        if "time" not in fields:
            if not here:
                self.reader._problem(path, "time", "what another visit found needs its time", expected="time or age")
                return None
            return self.at
        found = self.reader._moment(fields["time"], f"{path}.time", self.zone)
        if found is None:
            return None
        if found.lo > self.until.hi:
            self.reader._problem(
                f"{path}.time", "time", "this was found after the visit", found.text, f"not after {self.until.text}"
            )
        if found.hi < self.born.lo and shape.subject == "baby":
            self.reader._problem(
                f"{path}.time", "time", "this was found before birth", found.text, f"not before {self.born.text}"
            )
        lo = max(found.lo, self.born.lo) if shape.subject == "baby" else found.lo
        return Moment(lo, max(lo, min(found.hi, self.until.hi)), found.text)

    def at_age(self, text: str, path: str) -> Moment | None:
        try:
            after = seconds(text)
            if after < 0:
                raise UnitMismatchError("an age is counted from birth on")
        except UnitMismatchError as error:
            self.reader._problem(path, "time", str(error), text, "such as 90 h")
            return None
        lo, hi = self.born.lo + after, min(self.born.hi + after, self.until.hi)
        if lo > self.until.hi:
            self.reader._problem(path, "time", "this was found after the visit", text, f"not after {self.until.text}")
            return None
        return Moment(lo, max(lo, hi), stamp(lo, self.zone) if lo == hi else f"age {text}")

    def orders(self, written: Any) -> Iterator[PlacedOrder]:
        for k, item in enumerate(self.reader.listed(written, "history.orders")):
            path = f"history.orders[{k}]"
            if "target" not in item:
                self.reader._problem(path, "structure", "an order names its target", expected="{target, status, ...}")
                continue
            when = (
                self.reader._moment(item["time"], f"{path}.time", self.zone) if item.get("time") is not None else None
            )
            yield PlacedOrder(
                target=str(item["target"]),
                side=str(item.get("side") or ""),
                status=str(item.get("status") or "unknown"),
                priority=_text(item.get("priority")),
                time=when,
                reference=str(item.get("reference") or ""),
                request_key=str(item.get("request_key") or ""),
                until=self.reader._moment(item["until"], f"{path}.until", self.zone)
                if item.get("until") is not None
                else None,
            )

    def given(self, written: Any, part: str, key: str) -> Iterator[Given]:
        for k, item in enumerate(self.reader.listed(written, f"history.{part}")):
            path = f"history.{part}[{k}]"
            if key not in item:
                self.reader._problem(path, "structure", f"this needs its '{key}'", expected=f"{{{key}, time}}")
                continue
            when = (
                self.reader._moment(item["time"], f"{path}.time", self.zone) if item.get("time") is not None else None
            )
            yield Given(str(item[key]), when, str(item.get("reference") or ""))


def _is_range(item: Mapping[str, Any]) -> bool:
    return bool(item) and all(key in ("at_least", "more_than", "at_most", "below", "between") for key in item)


def _printable(value: Any) -> bool:
    """Whether all text in ``value`` can be written as UTF-8 (JSON can carry half of a surrogate pair)."""
    if isinstance(value, str):
        return value.isascii() or not any("\ud800" <= c <= "\udfff" for c in value)
    if isinstance(value, Mapping):
        return all(_printable(k) and _printable(v) for k, v in value.items())
    return all(map(_printable, value)) if isinstance(value, list | tuple) else True


def _text(value: Any) -> str | None:
    return None if value is None else str(value)
