"""Where the reader puts what it takes from the entries: readings, history, problems, and what it could not read."""

from __future__ import annotations

from collections.abc import Mapping, Set
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal, NamedTuple

from layette.engine.errors import InputProblem
from layette.mapping.codes import display, short_name
from layette.mapping.read.bundle.entries import Entry, Inputs
from layette.mapping.read.bundle.moment import VisitMoment
from layette.mapping.read.bundle.parts import Resource, codings, described, reference, shown, value_text
from layette.mapping.read.bundle.people import People, Role
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import EXAMPLE, BadTimeError
from layette.mapping.read.codes.amounts import Unclear, Wrong
from layette.mapping.read.codes.index import CodeIndex, Finding
from layette.mapping.read.resources.weights import APART, BIRTH_WEIGHT, WEIGHT, first_weight, joined

Where = Literal["visit", "history"]
WITHDRAWN = ("entered-in-error", "cancelled")
"""Statuses under which a value is passed on to be listed, never used; its mistakes stop nobody."""

_LINE = 80
AFTER = "this lies after the visit"


class Told(NamedTuple):
    """What something that could not be used tells of this visit: a finding; or what nobody knows (``here``).

    Of a text that names a finding, both: it may say more.
    What is as expected, or surely of another visit, tells nothing.
    """

    finding: str = ""
    here: bool = False

    def written(self, role: Role | None) -> dict[str, Any]:
        """Return the fields that carry it into the flat visit."""
        here = {"here": True} | ({"subject": "mother"} if role == "mother" else {}) if self.here else {}
        return here | ({"finding": self.finding} if self.finding else {})


NOTHING_TOLD = Told()


@dataclass
class Ledger:
    """One input under reading: its entries, what is looked for in them, and what has been taken from them so far."""

    inputs: Inputs
    index: CodeIndex
    people: People
    moment: VisitMoment
    problems: list[InputProblem]
    findings: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    earlier: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    history: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    complete: set[str] = field(default_factory=set)
    not_understood: list[dict[str, Any]] = field(default_factory=list)
    notices: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    latest: tuple[datetime, str] | None = None
    stated_sex: str | None = None

    def refuse(self, entry: Entry, wrong: Wrong, suffix: str = "", *, withdrawn: bool = False) -> None:
        """Note a mistake at ``suffix`` of an entry; one in a withdrawn resource is only kept."""
        if wrong.message == AFTER and self.moment.named and not self._of_this_encounter(entry):
            entry.mark(Outcome.NOT_USED, "after the visit")
            return
        path = f"{entry.path}{suffix}{wrong.suffix}"
        if withdrawn:
            self.keep(entry, Unclear(f"withdrawn, and {wrong.message}", "", wrong.value), suffix)
            return
        self.problems.append(InputProblem(path, wrong.code, wrong.message, wrong.value, wrong.expected))
        entry.mark(Outcome.REFUSED, wrong.message)

    def refuse_time(
        self, entry: Entry, bad: BadTimeError, *, withdrawn: bool = False, told: Told = NOTHING_TOLD
    ) -> None:
        """Note a time that cannot be used; one that is only vague is kept, with what it would have told."""
        if bad.vague:
            self.keep(entry, Unclear(bad.message, "", bad.value), f".{bad.key}", told=told)
            return
        self.refuse(entry, Wrong(bad.code, bad.message, bad.value, EXAMPLE, f".{bad.key}"), withdrawn=withdrawn)

    def keep(
        self,
        entry: Entry,
        unclear: Unclear,
        suffix: str = "",
        concept: object = None,
        *,
        told: Told = NOTHING_TOLD,
        holder: Resource | None = None,
    ) -> None:
        """Keep something that is not understood, with what it says and what it would have ``told`` of this visit.

        Of that, the value in ``holder`` is said too: somebody has to look at it.
        """
        code, said = described(concept)
        said = said or _published(concept, bare=any(told))
        value = value_text(holder) if told.finding or told.here else ""
        self.not_understood.append(
            {
                "path": f"{entry.path}{suffix}",
                "code": unclear.code or code,
                "text": _with_value(unclear.text or said, value),
                "why": unclear.why,
            }
            | told.written(self._role(entry, "subject"))
        )
        entry.mark(Outcome.NOT_UNDERSTOOD, unclear.why)

    def record(
        self, entry: Entry, finding: str, reading: Mapping[str, Any], where: Where, moment: date | None = None
    ) -> None:
        """Put one reading into the visit or its history; ``moment`` is its time, parsed."""
        start = self.moment.span.first(moment) if moment else None
        if start is not None and (self.latest is None or start > self.latest[0]):
            self.latest = (start, str(reading["time"]) if isinstance(moment, datetime) else start.isoformat())
        readings = self.findings if where == "visit" else self.earlier
        readings.setdefault(finding, []).append(dict(reading))
        entry.mark(Outcome.USED)

    def join_weights(self) -> None:
        """Add pounds and ounces of one weight that were sent as two Observations; a piece alone is kept, not used."""
        for readings in (self.findings, self.earlier):
            for finding, several in list(readings.items()):
                if any(one.get("unit") == "[oz_av]" for one in several):
                    readings[finding], pieces = joined(several)
                    self._keep_pieces(finding, pieces, Told(finding if readings is self.findings else ""))
                    if not readings[finding]:
                        del readings[finding]

    def take_first_weight(self) -> None:
        """Where no birth weight is on record, take it to be at least the weight of the first day.

        Many a record holds it as a body weight of that day; a newborn gains nothing before it loses.
        """
        if BIRTH_WEIGHT not in self.index.findings or {BIRTH_WEIGHT} & {*self.findings, *self.earlier}:
            return
        first = first_weight(self.earlier.get(WEIGHT, ()), self.moment.span)
        if first is not None:
            amount = f"{first['value']} {first['unit']}"
            said = {key: first[key] for key in ("unit", "status", "origin", "path") if key in first}
            value = {"value": {"at_least": first["value"]}, "given": f"{amount} on the first day"}
            self.findings[BIRTH_WEIGHT] = [said | value]
            self.notices.append(
                f"No birth weight is on record: it is taken to be at least the weight of the first day, {amount}"
            )

    def _keep_pieces(self, finding: str, pieces: list[dict[str, Any]], told: Told) -> None:
        used = [str(one.get("path", "")) for several in self.findings.values() for one in several]
        for piece in pieces:
            where, said = str(piece.get("path", "")), f"{piece['value']} {piece['unit']}"
            kept = {"path": where, "code": finding, "text": said, "why": APART}
            self.not_understood.append(kept | told.written(None))
            for entry in self.inputs.entries:
                inside = f"{entry.path}."
                if where.startswith(inside) and not any(one.startswith(inside) for one in used):
                    entry.outcome, entry.why = Outcome.NOT_UNDERSTOOD, APART

    def add_history(self, entry: Entry, kind: str, item: Mapping[str, Any]) -> None:
        """Put one order, topic or vaccine into the history."""
        shown_item = {key: value for key, value in item.items() if value is not None}
        if entry.origin:
            shown_item["reference"] = entry.origin
        self.history.setdefault(kind, []).append(shown_item)
        entry.mark(Outcome.USED)

    def about(self, entry: Entry, element: str = "subject") -> Role | None:
        """Return whom a resource is about: its focus, else its subject; the newborn if it is the only person.

        None, and the entry is set aside with the reason, where it is about nobody whose visit this is.
        """
        role = self._role(entry, element)
        if role in ("baby", "mother"):
            return role
        entry.mark(
            Outcome.NOT_USED, "it is about somebody else" if role else "it does not say that it is about the newborn"
        )
        return None

    def of_nobody(self, entry: Entry, element: str = "subject") -> bool:
        """Whether a resource does not say whom it is about, or names somebody whom the input does not hold."""
        return self._role(entry, element) is None

    def is_of_baby(self, entry: Entry, element: str = "subject") -> bool:
        """Whether a resource is about the newborn, as ``element`` says or, where that says nothing, the input."""
        return self._role(entry, element) == "baby"

    def _role(self, entry: Entry, element: str) -> Role | None:
        focus = entry.resource.get("focus")
        if isinstance(focus, list):
            for person in focus:
                role = self.people.who(person, entry)
                if role is not None:
                    return role
        link = entry.resource.get(element)
        if link is None:
            return "baby" if self.people.alone else None
        return self.people.who(link, entry)

    def belongs(self, resource: Resource, entry: Entry, moment: date | None) -> Where | None:
        """Return where a reading belongs: by its Encounter, else by the calendar day; None if neither is given."""
        name = reference(resource.get("encounter"))
        if name:
            return "visit" if self.is_this_encounter(name, entry) else "history"
        if moment is None:
            return None
        return "visit" if self.moment.span.same_day(moment) else "history"

    def just_happened(self, finding: Finding, values: Set[str], moment: date | None) -> bool:
        """Whether values are events of the last 24 hours, which count at this visit, wherever they were recorded.

        What is seen while the baby takes its first breaths is no event of the day.
        """
        if not values or moment is None or not values <= {*finding.shape.event}:
            return False
        return self.moment.span.of_last_day(moment) and not self.moment.span.at_birth(moment)

    def may_be_today(self, entry: Entry, vague: str) -> bool:
        """Whether what has only a month or a year can be of this visit: by its Encounter, else by that month."""
        name = reference(entry.resource.get("encounter"))
        if name:
            return self.is_this_encounter(name, entry)
        return (self.moment.at or "").startswith(vague)

    def is_this_encounter(self, name: str, entry: Entry) -> bool:
        """Whether a reference means the Encounter of this visit."""
        if name in self.moment.encounters:
            return True
        found = self.inputs.resolve(name, entry)
        return found is not None and bool(found.origin) and found.origin in self.moment.encounters

    def _of_this_encounter(self, entry: Entry) -> bool:
        name = reference(entry.resource.get("encounter"))
        return bool(name) and self.is_this_encounter(name, entry)

    def check_time(self, moment: date | None, text: str | None, key: str, *, of_baby: bool) -> Wrong | None:
        """Return what is wrong with a time that lies before birth or after the visit."""
        if moment is None or text is None:
            return None
        if of_baby and self.moment.span.before_birth(moment):
            return Wrong("time", "this lies before birth", text, "a time from birth to the visit", f".{key}")
        if self.moment.span.after_visit(moment):
            return Wrong("time", AFTER, text, "a time from birth to the visit", f".{key}")
        return None


def _published(concept: object, *, bare: bool) -> str:
    """Return the published wording of a code without words; at last, if ``bare``, the code itself."""
    found = codings(concept)
    worded = next((words for system, code, _ in found if (words := display(system, code))), "")
    known = [one for one in found if not one[0].startswith("http") or short_name(one[0]) != one[0]]
    return worded or (f"{short_name(known[0][0])} {known[0][1]}" if bare and known else "")


def _with_value(said: str, value: str) -> str:
    """Return words and a value, cut to a line; of long words more is cut than of the value."""
    told = shown(value)
    return " ".join(filter(None, (shown(said, max(_LINE - len(told), _LINE // 2)) if said else "", told)))
