"""Reading what was found, and what other visits left behind, for one visit whose times are known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from layette.engine.errors import InputProblem
from layette.engine.exact.days import Days
from layette.engine.exact.ranges import Possible
from layette.engine.exact.times import Moment, stamp
from layette.engine.exact.units import UnitMismatchError, seconds
from layette.engine.pack.written.shapes import FindingShape, listed
from layette.engine.pack.written.subjects import Subjects
from layette.engine.terms import BOUNDS, STATUSES, WITHDRAWN
from layette.engine.visit.problems import Problems
from layette.engine.visit.quick import ASKED_UNKNOWN, QuickReader, usual, usual_ones, within_life
from layette.engine.visit.systems import charted_by, left_out
from layette.engine.visit.values import kind_of, read_value
from layette.engine.visit.visit import GivenTopic, Judged, PlacedOrder, Recorded

_RANGE_KEYS = {*BOUNDS, "between"}
ITEM_KEYS = {
    "value",
    "unit",
    "time",
    "age",
    "side",
    "status",
    "absent",
    "origin",
    "path",
    "reported",
    "part",
    "given",
    "text",
}
ITEM_KEYS |= {"charted_by"}


@dataclass
class ItemReader:
    """Reads the findings and history of one visit, whose times are known."""

    report: Problems
    subjects: Subjects
    at: Moment
    until: Moment
    born: Moment
    days: Days
    quick: QuickReader | None = None
    """Reads what most recordings look like; without it each is read part by part, to the same end."""

    @property
    def zone(self) -> tzinfo:
        """The zone in which the visit's days are counted."""
        return self.days.zone

    def findings(self, written: Any, base: str, *, here: bool) -> Iterator[Recorded]:
        """Yield the recordings of a mapping of findings; ``here``: made at this visit."""
        if written is None:
            return
        if not isinstance(written, Mapping):
            self.report.add(base, "structure", "findings are a mapping by name", kind_of(written))
            return
        quick, known = self.quick, usual_ones(self.subjects)
        for key, value in written.items():
            made = None
            if quick is not None:
                plain = known.get(key) or usual(self.subjects, key)
                made = None if plain is None else quick.read(plain, value, f"{base}.{key}", here=here)
            if made is not None:
                yield from made
                continue
            name, _, side = str(key).partition(".")
            shape = self.subjects.findings.get(name)
            if shape is None and name in self.subjects.normals:
                for item in value if isinstance(value, list) else [value]:
                    yield from self._system(name, item, f"{base}.{key}", here=here)
                if here:
                    self.report.warnings += left_out(name, written, f"{base}.{key}", self.subjects)
                continue
            if shape is None:
                hint = self.report.hint(name, self.subjects.findings)
                self.report.add(f"{base}.{key}", "unknown-finding", f"the pack has no such finding{hint}", key)
                continue
            several = isinstance(value, list)
            for k, item in enumerate(value if several else [value]):
                path = f"{base}.{key}[{k}]" if several else f"{base}.{key}"
                yield from self._finding(name, shape, side, item, path, here=here)

    def _system(self, name: str, value: Any, path: str, *, here: bool) -> Iterator[Recorded]:
        """Spread a "normal" of a whole system over exactly the findings that the dictionary lists for it."""
        shape = self.subjects.normals[name]
        fields = dict(value) if isinstance(value, Mapping) else {"value": value}
        path = str(fields.get("path") or path)
        if fields.get("value") != "normal":
            said = fields.get("value") or fields.get("absent") or "nothing"
            self.report.warnings.append(
                f"{path}: '{shape.label}' is charted as {said}: no finding of it is known by that"
            )
            return
        for finding, component in shape.spreads.items():
            part = self.subjects.findings[finding]
            item = {**fields, "value": component, "path": path, "charted_by": name}
            yield from self._finding(finding, part, "both" if part.sides else "", item, path, here=here)

    def _finding(
        self, name: str, shape: FindingShape, side: str, item: Any, path: str, *, here: bool
    ) -> Iterator[Recorded]:
        mapping = type(item) is dict or isinstance(item, Mapping)
        fields = dict(item) if mapping and not _is_range(item) else {"value": item}
        path = str(fields.get("path") or path)
        qualifiers = {key: str(fields[key]) for key in shape.qualifier if key in fields}
        parts = shape.readings.parts if shape.readings else []
        self._one_thing(name, fields, side, parts, path)
        self._known_parts(name, shape, fields, qualifiers, path)
        time = self._time(fields, path, shape, here=here)
        if time is None:
            return
        said_of_both = "both" in (side, fields.get("side"))
        system = charted_by(name, fields, path, self.subjects, self.report)
        for one_side in self._sides(name, shape, side or str(fields.get("side") or ""), path):
            for part, value in self._by_part(shape, fields, path):
                made = self._recorded(name, shape, fields, value, path, part)
                if made is not None:
                    possible, given, converted = made
                    yield Recorded(
                        finding=name,
                        side=one_side,
                        part=part,
                        time=time,
                        possible=possible,
                        absent="" if possible is not None else str(fields.get("absent") or ""),
                        status=str(fields.get("status") or "final"),
                        here=here,
                        given=str(fields.get("given") or given),
                        converted=converted,
                        qualifiers=tuple(sorted(qualifiers.items())),
                        origin=str(fields.get("origin") or ""),
                        path=path,
                        reported=bool(fields.get("reported")),
                        spread_from=system,
                        of_both=said_of_both and _as_expected(possible, shape),
                    )

    def _known_parts(
        self, name: str, shape: FindingShape, fields: Mapping[str, Any], qualifiers: Mapping[str, str], path: str
    ) -> None:
        """Report parts that a recording of this finding cannot have, and qualifiers that are not of their kind."""
        if not fields.keys() <= ITEM_KEYS:
            parts = shape.readings.parts if shape.readings else []
            usual = {*ITEM_KEYS, *qualifiers, *parts}
            for key in [key for key in fields if key not in usual]:
                self.report.add(path, "structure", f"'{name}' has no part '{key}'", key)
        for key, value in qualifiers.items():
            if value not in shape.qualifier[key]:
                self.report.add(
                    f"{path}.{key}", "value", f"not a {key} of '{name}'", value, ", ".join(shape.qualifier[key])
                )

    def _one_thing(self, name: str, fields: Mapping[str, Any], side: str, parts: list[str], path: str) -> None:
        """Report a recording that says two things at once, or whose marks are not of their kind."""
        problem = self.report.add
        valued = fields.get("absent") and [key for key in ("value", *parts) if fields.get(key) is not None]
        if valued:
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
        if not isinstance(fields.get("text", ""), str):
            problem(f"{path}.text", "structure", "what somebody said is a text", fields["text"], "a text")

    def _sides(self, name: str, shape: FindingShape, side: str, path: str) -> tuple[str, ...]:
        if not shape.sides:
            if side:
                self.report.add(path, "side", f"'{name}' has no sides", side)
            return ("",)
        if side == "both":
            return tuple(shape.sides)
        if side in shape.sides:
            return (side,)
        if side:
            self.report.add(path, "side", f"not a side of '{name}'", side, f"{', '.join(shape.sides)} or both")
        else:
            self.report.warnings.append(f"{path}: '{shape.label}' does not say which side; it counts as not known")
        return ()

    def _by_part(self, shape: FindingShape, fields: Mapping[str, Any], path: str) -> Iterator[tuple[str, Any]]:
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
            self.report.add(
                path, "structure", "this finding is read in parts", expected=" and ".join(shape.readings.parts)
            )

    def _recorded(
        self, name: str, shape: FindingShape, fields: Mapping[str, Any], value: Any, path: str, part: str
    ) -> tuple[Possible | None, str, str] | None:
        if fields.get("absent"):
            if shape.not_known is not None and fields["absent"] == ASKED_UNKNOWN:
                return frozenset({shape.not_known}), shape.not_known, ""
            return None, "", ""
        if value is None:
            self.report.add(path, "value", f"'{name}' has neither a value nor a reason why it has none")
            return None
        found: list[InputProblem] = []
        made = read_value(shape, self.subjects.coarse(name), value, fields.get("unit"), path, found)
        if found and fields.get("status") in WITHDRAWN and all(one.code == "implausible" for one in found):
            # A slip of the pen that was taken back is used by nobody, and refuses nothing.
            self.report.warnings += [f"{one}; it was taken back, and is not used" for one in found]
            return None, found[0].value, ""
        self.report.found += found
        return made

    def _time(self, fields: Mapping[str, Any], path: str, shape: FindingShape, *, here: bool) -> Moment | None:
        if "age" in fields:
            return self._at_age(str(fields["age"]), f"{path}.age")
        if "time" not in fields:
            if not here:
                self.report.add(path, "time", "what another visit found needs its time", expected="time or age")
                return None
            return self.at
        found = self.report.moment_at(fields["time"], f"{path}.time", self.zone)
        if found is None:
            return None
        found = self.days.spread(found)
        if found.lo > self.until.hi:
            self.report.add(
                f"{path}.time", "time", "this was found after the visit", found.text, f"not after {self.until.text}"
            )
        if found.hi < self.born.lo and shape.subject == "baby":
            self.report.add(
                f"{path}.time", "time", "this was found before birth", found.text, f"not before {self.born.text}"
            )
        return self.days.printed(within_life(found, self.born if shape.subject == "baby" else None, self.until))

    def _at_age(self, text: str, path: str) -> Moment | None:
        try:
            after = seconds(text)
            if after < 0:
                raise UnitMismatchError("an age is counted from birth on")
        except UnitMismatchError as error:
            self.report.add(path, "time", str(error), text, "such as 90 h")
            return None
        lo, hi = self.born.lo + after, min(self.born.hi + after, self.until.hi)
        if lo > self.until.hi:
            self.report.add(path, "time", "this was found after the visit", text, f"not after {self.until.text}")
            return None
        return Moment(lo, max(lo, hi), stamp(lo, self.zone) if lo == hi else f"age {text}")

    def orders(self, written: Any) -> Iterator[PlacedOrder]:
        """Yield the orders of the history."""
        for k, item in enumerate(self.report.listed(written, "history.orders")):
            path = f"history.orders[{k}]"
            if "target" not in item:
                self.report.add(path, "structure", "an order names its target", expected="{target, status, ...}")
                continue
            yield PlacedOrder(
                target=str(item["target"]),
                side=str(item.get("side") or ""),
                status=str(item.get("status") or "unknown"),
                priority=text_or_none(item.get("priority")),
                time=self._moment_of(item, "time", path),
                reference=str(item.get("reference") or ""),
                request_key=str(item.get("request_key") or ""),
                answer_key=str(item.get("answer_key") or ""),
                start=self._moment_of(item, "start", path),
                until=self._moment_of(item, "until", path),
                reason=str(item.get("reason") or ""),
            )

    def _moment_of(self, item: Mapping[str, Any], part: str, path: str) -> Moment | None:
        """Return a time of something in the history; None where it has none."""
        written = item.get(part)
        found = None if written is None else self.report.moment_at(written, f"{path}.{part}", self.zone)
        return None if found is None else self.days.printed(found)

    def given(self, written: Any, part: str, key: str) -> Iterator[GivenTopic]:
        """Yield the guidance or doses of the history; ``key`` names the item."""
        for k, item in enumerate(self.report.listed(written, f"history.{part}")):
            path = f"history.{part}[{k}]"
            if key not in item:
                self.report.add(path, "structure", f"this needs its '{key}'", expected=f"{{{key}, time}}")
                continue
            yield GivenTopic(str(item[key]), self._moment_of(item, "time", path), str(item.get("reference") or ""))

    def judged(self, written: Any) -> Iterator[Judged]:
        """Yield how somebody read values that were to be judged."""
        for k, item in enumerate(self.report.listed(written, "history.judged")):
            path = f"history.judged[{k}]"
            name = text_or_none(item.get("finding")) or text_or_none(item.get("target"))
            of = self.report.moment_at(item.get("of"), f"{path}.of", self.zone)
            for part in ("by", "outcome"):
                if not text_or_none(item.get(part)):
                    self.report.add(f"{path}.{part}", "structure", f"a judgment needs its '{part}'", expected="a text")
            if name is None:
                self.report.add(
                    path, "structure", "a judgment names its finding or target", expected="{finding, of, …}"
                )
            if name is not None and of is not None:
                time = self._moment_of(item, "time", path)
                side, by = str(item.get("side") or ""), str(item.get("by") or "")
                yield Judged(name, side, of, by, time, str(item.get("outcome") or ""))


def _as_expected(possible: Possible | None, shape: FindingShape) -> bool:
    return isinstance(possible, frozenset) and possible <= {*listed(shape.expected)}


def _is_range(item: Mapping[str, Any]) -> bool:
    return bool(item) and item.keys() <= _RANGE_KEYS


def text_or_none(value: Any) -> str | None:
    """Return a value as text; None stays None."""
    return None if value is None else str(value)
