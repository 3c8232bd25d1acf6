"""Reading a flat visit (`schemas/visit.md`): every mistake at once, readings in one canonical order.

The order of the input never matters: what is returned is sorted.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo
from typing import Any

from layette.engine.errors import InputError
from layette.engine.exact.days import Days, days_of
from layette.engine.exact.times import Moment, day_number, moment
from layette.engine.pack.compiled import CompiledPack
from layette.engine.pack.written.subjects import SEX, SEXES, Subjects
from layette.engine.visit.carried import PART, taken_over
from layette.engine.visit.doses import doses_as_findings
from layette.engine.visit.items import ItemReader, text_or_none
from layette.engine.visit.problems import Problems
from layette.engine.visit.quick import QuickReader
from layette.engine.visit.sound import plain, printable, sound
from layette.engine.visit.values import kind_of
from layette.engine.visit.visit import NotRead, Visit, in_order

KEYS = {
    "layette_visit", "patient", "identifiers", "encounter", "clinic", "born", "at", "until", "sex_at_birth", "findings",
    "history", "history_complete", "settings", "not_understood", "counts", PART,
}  # fmt: skip
HISTORY_KEYS = ("findings", "orders", "guidance", "immunizations", "judged")
COMPLETE = ("observations", "orders", "guidance", "immunizations")
VERSION = 1


@dataclass
class VisitReader:
    """Reads one flat visit; mistakes gather in ``report``, with those that the visit brings along."""

    subjects: Subjects
    oldest_days: int
    timezone: str | None = None
    report: Problems = field(default_factory=Problems)

    def read(self, flat: Mapping[str, Any], at: str | datetime | None = None) -> Visit:
        """Return the visit, or raise `InputError` with every mistake."""
        visit = self.attempt(flat, at)
        if self.report.found or visit is None:
            raise InputError(self.report.found)
        return visit

    def attempt(self, flat: Any, at: str | datetime | None = None) -> Visit | None:
        """Return what could be read (None where not even the times could); see ``report``."""
        whole = plain(flat)
        flat, at = flat if whole else sound(flat, self._unsound), sound(at, self._unsound)
        if not self._is_visit(flat, whole):
            return None
        times = self._times(flat, at)
        if times is None:
            self._tell_the_rest(flat)
            return None
        when, born, days = times
        zone = days.zone
        self._check_age(when, born, zone)
        until = days.printed(self._until(flat.get("until"), when, zone))
        quick = QuickReader(when, until, born, days) if whole else None
        items = ItemReader(self.report, self.subjects, when, until, born, days, quick)
        history = self._history(flat.get("history") or {})
        readings = [*items.findings(flat.get("findings"), "findings", here=True)]
        readings += items.findings(history.get("findings"), "history.findings", here=False)
        doses = [*items.given(history.get("immunizations"), "immunizations", "code")]
        readings += doses_as_findings(doses, readings, self.subjects, born, when, self.report)
        judged = tuple(sorted(items.judged(history.get("judged")), key=repr))
        unread = self._not_understood(self.report.listed(flat.get("not_understood"), "not_understood"))
        return Visit(
            at=when,
            until=until,
            born=born,
            zone=zone,
            sex=self._sex(flat.get(SEX)),
            readings=in_order(readings),
            orders=tuple(sorted(items.orders(history.get("orders")), key=repr)),
            guidance=tuple(sorted(items.given(history.get("guidance"), "guidance", "topic"), key=repr)),
            immunizations=tuple(sorted(doses, key=repr)),
            complete=frozenset(self._complete(flat.get("history_complete") or ())),
            settings=self._settings(flat.get("settings") or {}),
            patient=text_or_none(flat.get("patient")),
            encounter=text_or_none(flat.get("encounter")),
            identifiers=tuple(sorted(self._identifiers(flat.get("identifiers")))),
            warnings=tuple(sorted(self.report.warnings)),
            judged=judged,
            unread=unread,
        )

    def _unsound(self, path: str, message: str, expected: str) -> None:
        self.report.add(path, "structure", message, expected=expected)

    def _tell_the_rest(self, flat: Mapping[str, Any]) -> None:
        """Where the times cannot be used, tell what else is wrong; nothing that hangs on a time is said."""
        when, born = moment("2000-03-01T00:00:00+00:00", UTC), moment("2000-01-01T00:00:00+00:00", UTC)
        rest = Problems(told=self.report.told)
        items = ItemReader(rest, self.subjects, when, when, born, Days(UTC))
        history = self._history(flat.get("history") or {})
        for written, path, here in (
            (flat.get("findings"), "findings", True),
            (history.get("findings"), "history.findings", False),
        ):
            deque(items.findings(written, path, here=here), maxlen=0)
        self._sex(flat.get(SEX))
        self._settings(flat.get("settings") or {})
        self.report.found += [problem for problem in rest.found if problem.code not in ("time", "birth", "age")]

    def _is_visit(self, flat: Any, whole: bool) -> bool:
        """Whether there is anything to read; what is no part of a visit is reported all the same.

        ``whole``: its text was looked at already.
        """
        if not isinstance(flat, Mapping):
            expected = "a mapping with born, at, findings"
            self.report.add("$", "structure", "a visit is a mapping", found=kind_of(flat), expected=expected)
            return False
        self._carry(flat)
        for key in [key for key in flat if key not in KEYS]:
            known = ", ".join(sorted(KEYS))
            message = f"a visit has no such part{self.report.hint(key, KEYS)}"
            self.report.add(str(key), "structure", message, found=str(key), expected=known)
        if flat.get("layette_visit", VERSION) != VERSION:
            found = flat["layette_visit"]
            self.report.add("layette_visit", "structure", "another version of this form", found, str(VERSION))
        if not whole and not printable(flat):
            self.report.add("$", "structure", "text with half a character in it", expected="text in Unicode")
            return False
        return True

    def _history(self, history: Any) -> Mapping[str, Any]:
        if not isinstance(history, Mapping):
            self.report.add("history", "structure", "the history is a mapping", expected=", ".join(HISTORY_KEYS))
            return {}
        for key in [key for key in history if key not in HISTORY_KEYS]:
            message = f"a history has no such part{self.report.hint(key, HISTORY_KEYS)}"
            self.report.add(f"history.{key}", "structure", message, found=key, expected=", ".join(HISTORY_KEYS))
        return history

    def _identifiers(self, written: Any) -> Iterator[tuple[str, str]]:
        for identifier in self.report.listed(written, "identifiers"):
            yield str(identifier.get("system", "")), str(identifier.get("value", ""))

    def _carry(self, flat: Mapping[str, Any]) -> None:
        """Take over the problems that the visit brings along; what is missing because of one is not asked for again."""
        carried = taken_over(self.report.listed(flat.get(PART), PART))
        self.report.found += carried
        self.report.told = {"at", "born"} - flat.keys() if carried else set()

    def _times(self, flat: Mapping[str, Any], at: Any) -> tuple[Moment, Moment, Days] | None:
        written = at if at is not None else flat.get("at")
        if not isinstance(written, str):
            self.report.add(
                "at", "time", "the moment of the visit is missing", written or "", "a date and time with offset"
            )
            return None
        try:
            days = days_of(written, flat.get("born"), self.timezone, _times_found(flat))
            when = moment(written, days.zone)
            if not when.exact:
                raise ValueError("the moment of the visit needs a time of day with its offset")
        except ValueError as error:
            self.report.add("at", "time", str(error), written, "such as 2026-11-24T10:00:00-06:00")
            return None
        given = self.report.moment_at(flat.get("born"), "born", days.zone, "birth")
        if given is None:
            return None
        born = days.spread(given)
        if born.lo > when.hi:
            self.report.add("at", "time", "the visit lies before birth", written, f"a time after {born.text}")
            return None
        within = Moment(born.lo, min(born.hi, when.hi), born.text)
        return days.printed(when), days.printed(within), days

    def _until(self, written: Any, when: Moment, zone: tzinfo) -> Moment:
        """Return the end of the visit: what is found up to then belongs to it; windows count from its start."""
        if written is None:
            return when
        end = self.report.moment_at(written, "until", zone)
        if end is not None and end.hi < when.lo:
            self.report.add("until", "time", "the visit ends before it begins", written, f"not before {when.text}")
        return end if end is not None and end.hi >= when.lo else when

    def _check_age(self, when: Moment, born: Moment, zone: tzinfo) -> None:
        days = day_number(when.lo, zone) - day_number(born.hi, zone)
        if days > self.oldest_days:
            self.report.add(
                "born", "age", f"the baby is {days} days old; this pack decides nothing after day {self.oldest_days}",
                born.text, f"an age of 0 to {self.oldest_days} days",
            )  # fmt: skip

    def _sex(self, written: Any) -> str | None:
        if written in SEXES:
            return str(written)
        if written not in (None, "unknown", "other"):
            self.report.add(SEX, "value", "not a sex at birth", written, "male, female, unknown or other")
        return None

    def _complete(self, written: Any) -> Iterator[str]:
        for k, part in enumerate(written if isinstance(written, list | tuple) else [written]):
            if part in COMPLETE:
                yield str(part)
            else:
                self.report.add(
                    f"history_complete[{k}]", "structure", "not a part of the history", part, ", ".join(COMPLETE)
                )

    def _settings(self, written: Any) -> dict[str, str]:
        out: dict[str, str] = {}
        if not isinstance(written, Mapping):
            self.report.add("settings", "structure", "settings are a mapping by name", kind_of(written))
            return out
        for name, choice in written.items():
            shape = self.subjects.settings.get(name)
            if shape is None or choice not in list(shape.choices):
                known = ", ".join(shape.choices) if shape else ", ".join(self.subjects.settings)
                self.report.add(f"settings.{name}", "setting", "no such setting or choice", choice, known)
            else:
                out[str(name)] = str(choice)
        return out

    def _not_understood(self, items: Any) -> tuple[NotRead, ...]:
        """Tell what came along and could not be read; return what of it is of this visit, each once, words first.

        A diagnosis or a message says more by itself than a number of which nobody knows what it is.
        """
        unread: dict[NotRead, None] = {}
        for item in items:
            parts = [str(item[key]) for key in ("text", "code", "why") if item.get(key)]
            self.report.warnings.append(f"{item.get('path', '?')}: kept, not understood: " + "; ".join(parts))
            finding = self.subjects.findings.get(str(item.get("finding")))
            if finding is not None:
                unread[NotRead(str(item["finding"]), "", finding.subject == "mother")] = None
            if item.get("here") is True and parts:
                unread[NotRead("", parts[0], item.get("subject") == "mother")] = None
        return tuple(sorted(unread, key=lambda one: (any(map(str.isdigit, one.said)), repr(one))))


def _times_found(flat: Mapping[str, Any]) -> Iterator[object]:
    """Yield the end of a visit and the times of what was found at it, as written."""
    yield flat.get("until")
    found = flat.get("findings")
    for several in found.values() if isinstance(found, Mapping) else ():
        for one in several if isinstance(several, list | tuple) else (several,):
            if isinstance(one, Mapping):
                yield one.get("time")


def reader_for(pack: CompiledPack) -> VisitReader:
    """Return a fresh reader of the flat visits of a pack."""
    return VisitReader(pack.subjects, pack.oldest_days, pack.site.timezone)
