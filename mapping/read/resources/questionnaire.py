"""Answers to our own exam: a QuestionnaireResponse gives the same readings as the facts sent as Observations.

A question without an answer is not examined. A reading carries no reference to its response, so that what goes out
holds an Observation for it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from layette.engine.pack.written.subjects import SEX, SEXES
from layette.engine.visit.values import kind_of
from layette.mapping.codes import ABSENT_REASON, OWN
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, mapping, shown, text
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import BadTimeError, parse
from layette.mapping.read.codes.amounts import ReadValue, Unclear, Wrong
from layette.mapping.read.codes.exam_form import BESIDE, Place, exam_url, places
from layette.mapping.read.codes.index import CodeMeaning, Finding
from layette.mapping.read.codes.values import absent, answer
from layette.mapping.read.resources.ledger import NOTHING_TOLD, WITHDRAWN, Ledger, Told, Where
from layette.mapping.read.resources.other_forms import keep_other_form
from layette.mapping.read.resources.unplaced import told_of_unknown

STATUSES = {
    "completed": "final", "amended": "amended", "in-progress": "preliminary", "stopped": "preliminary",
    "entered-in-error": "entered-in-error",
}  # fmt: skip
"""The statuses of a response, with the status that its answers have as observations."""

_ABSENT_EXTENSION = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"


@dataclass(slots=True)
class Beside:
    """What stands below an answer: its own time, who told it, its qualifiers."""

    time: str | None = None
    moment: date | None = None
    fields: dict[str, Any] = field(default_factory=dict)
    failed: bool = False


def read_questionnaire(ledger: Ledger, entry: Entry) -> None:
    """Read the response to the pack's exam; a response to anything else is not used."""
    answered = text(entry.resource.get("questionnaire")).partition("|")[0]
    if answered != exam_url(ledger.index.base, ledger.index.pack_id):
        keep_other_form(ledger, entry)
        return
    role = ledger.about(entry)
    if role == "mother":
        entry.mark(Outcome.NOT_USED, "the exam is about the newborn, and its subject is the mother")
    if role != "baby":
        return
    sheet = _sheet(ledger, entry)
    if sheet is not None:
        sheet.items(entry.resource, "")
        if entry.outcome is Outcome.NOT_USED and not entry.why:
            entry.mark(Outcome.NOT_USED, "no question has an answer")


def _sheet(ledger: Ledger, entry: Entry) -> _Sheet | None:
    status = STATUSES.get(text(entry.resource.get("status")))
    if status is None:
        written = shown(entry.resource.get("status"))
        ledger.refuse(
            entry,
            Wrong("structure", "no status of a response that can be read", written, ", ".join(STATUSES), ".status"),
        )
        return None
    try:
        authored = entry.resource.get("authored")
        moment = parse(authored, "authored") if authored is not None else None
    except BadTimeError as bad:
        ledger.refuse_time(entry, bad)
        return None
    where = ledger.belongs(entry.resource, entry, moment)
    if where is None:
        ledger.keep(entry, Unclear("neither authored nor an Encounter: it is not known of which visit it is"))
        return None
    wrong = ledger.check_time(moment, text(authored), "authored", of_baby=True) if where == "history" else None
    if wrong is not None:
        ledger.refuse(entry, wrong)
        return None
    return _Sheet(ledger, entry, where, status, text(authored) or None, moment)


@dataclass
class _Sheet:
    """One response on its way into the visit."""

    ledger: Ledger
    entry: Entry
    where: Where
    status: str
    authored: str | None
    moment: date | None
    places: dict[str, Place] = field(init=False)

    def __post_init__(self) -> None:
        self.places = places({name: finding.shape for name, finding in self.ledger.index.findings.items()})

    def items(self, holder: Resource, at: str) -> None:
        """Read the items below a response, an item or an answer."""
        for item, place in self.objects(holder, "item", at):
            self.item(item, place)

    def item(self, item: Resource, at: str) -> None:
        name = text(item.get("linkId"))
        place = self.places.get(name)
        if place is not None and place.role == "attempt":
            self.attempt(item, place, at)
            return
        for one, where in self.objects(item, "answer", at):
            self.one_answer(one, name, place, where)
        self.items(item, at)

    def one_answer(self, given_answer: Resource, name: str, place: Place | None, at: str) -> None:
        if place is None or place.role in ("group", *BESIDE):
            why = "this stands without the answer that it belongs to" if place else "the exam has no such question"
            self.ledger.keep(self.entry, Unclear(why, shown(name)), at, told=self.unknown(given_answer, name, place))
        elif place.role == "sex":
            self.sex(given_answer, at)
        else:
            beside = self.beside(given_answer, at)
            fields = self.value(given_answer, place, at)
            if fields is not None and not beside.failed:
                self.record(place, _of_part(fields, place.part), beside, at)
        for item, where in self.objects(given_answer, "item", at):
            if self.role(item) not in BESIDE:
                self.item(item, where)

    def role(self, item: Resource) -> str:
        place = self.places.get(text(item.get("linkId")))
        return place.role if place else ""

    def value(self, given: Resource, place: Place, at: str) -> dict[str, Any] | None:
        """Return what an answer says of a finding; what cannot be used is refused or kept."""
        finding = self.ledger.index.findings[place.finding]
        found, key = said(given, place, finding)
        if isinstance(found, Wrong):
            self.ledger.refuse(self.entry, found, f"{at}{key}", withdrawn=self.withdrawn)
        elif isinstance(found, Unclear):
            unclear = Unclear(found.why, found.code or finding.name, found.text)
            counts = self.where == "visit" and not self.withdrawn and place.role not in BESIDE
            self.ledger.keep(self.entry, unclear, f"{at}{key}", told=Told(finding.name if counts else ""))
        return dict(found) if isinstance(found, dict) else None

    def beside(self, holder: Resource, at: str) -> Beside:
        """Read what stands below an answer, or in the group of an attempt, and says something about it."""
        found = Beside()
        for item, where in self.objects(holder, "item", at):
            place = self.places.get(text(item.get("linkId")))
            if place is not None and place.role in BESIDE:
                for one, spot in self.objects(item, "answer", where):
                    self.one_beside(found, place, one, spot)
        return found

    def one_beside(self, found: Beside, place: Place, given: Resource, at: str) -> None:
        if place.role == "time":
            self.time(found, place, given, at)
        elif place.role == "qualifier":
            value = self.value(given, place, at)
            found.fields |= {str(place.qualifier): value["value"]} if value and "value" in value else {}
        elif given.get("valueBoolean") is True:
            found.fields["reported"] = True
        elif given.get("valueBoolean") is not False:
            self.refuse(found, Wrong("structure", "this is either true or false", "", "valueBoolean"), at)

    def time(self, beside: Beside, place: Place, given_time: Resource, at: str) -> None:
        key = "valueDate" if "valueDate" in given_time else "valueDateTime"
        try:
            beside.moment = parse(given_time.get(key), key)
        except BadTimeError as bad:
            beside.failed = True
            bad.key = f"{at.removeprefix('.')}.{key}"
            self.ledger.refuse_time(self.entry, bad, withdrawn=self.withdrawn)
            return
        beside.time = text(given_time.get(key))
        of_baby = self.ledger.index.findings[place.finding].person == "baby"
        wrong = self.ledger.check_time(beside.moment, beside.time, key, of_baby=of_baby)
        if wrong is not None:
            self.refuse(beside, wrong, at)

    def refuse(self, found: Beside, wrong: Wrong, at: str) -> None:
        found.failed = True
        self.ledger.refuse(self.entry, wrong, at, withdrawn=self.withdrawn)

    def unknown(self, given_answer: Resource, name: str, place: Place | None) -> Told:
        """Return what an answer tells to which the exam has no question, by the name of that question."""
        key = next((key for key in given_answer if key.startswith("value")), None)
        if place is not None or key is None or self.withdrawn or self.where == "history":
            return NOTHING_TOLD
        asked = {"code": {"text": name}, **_observed(key, given_answer[key])}
        return told_of_unknown(self.ledger, asked, "baby")

    def sex(self, given: Resource, at: str) -> None:
        code = text(mapping(given.get("valueCoding")).get("code")).removeprefix(f"{SEX}.")
        if code in SEXES and mapping(given.get("valueCoding")).get("system") == self.own:
            self.ledger.stated_sex = code
            self.entry.mark(Outcome.USED)
        elif mapping(given.get("valueCoding")).get("system") != ABSENT_REASON:
            self.ledger.keep(self.entry, Unclear("no sex at birth that is known", shown(code)), f"{at}.valueCoding")

    @property
    def withdrawn(self) -> bool:
        return self.status in WITHDRAWN

    @property
    def own(self) -> str:
        return f"{self.ledger.index.base}/{OWN['findings']}"

    def attempt(self, item: Resource, place: Place, at: str) -> None:
        """Read one attempt at a finding in parts: the parts in one unit are one reading."""
        beside = self.beside(item, at)
        joined: dict[str, dict[str, Any]] = {}
        for child, where in self.objects(item, "item", at):
            inner = self.places.get(text(child.get("linkId")))
            if inner is None or inner.finding != place.finding:
                self.item(child, where)
            elif inner.role not in BESIDE and not beside.failed:
                self.part(child, inner, beside, joined, where)
        for reading in joined.values():
            self.record(place, reading, beside, at)

    def part(self, item: Resource, place: Place, beside: Beside, joined: dict[str, dict[str, Any]], at: str) -> None:
        for given, spot in self.objects(item, "answer", at):
            value = self.value(given, place, spot)
            if value is None:
                continue
            if "absent" in value or place.part in joined.get(value["unit"], ()):
                self.record(place, _of_part(value, place.part), beside, spot)
            else:
                joined.setdefault(value["unit"], {"unit": value["unit"]})[str(place.part)] = value["value"]

    def record(self, place: Place, fields: dict[str, Any], beside: Beside, at: str) -> None:
        time, moment = beside.time, beside.moment
        if time is None and self.where == "history":
            time, moment = self.authored, self.moment
        if time is None and self.where == "history":
            self.ledger.keep(self.entry, Unclear("an answer of an earlier visit, without any time", place.finding), at)
            return
        reading = {**fields, **beside.fields}
        reading |= {"side": place.side} if place.side else {}
        reading |= {"time": time} if time else {}
        reading |= {"status": self.status, "path": f"{self.entry.path}{at}"}
        self.ledger.record(self.entry, place.finding, reading, self.where, moment)

    def objects(self, holder: Resource, key: str, at: str) -> Iterator[tuple[Resource, str]]:
        """Yield the objects of a list with their places; what is no list of objects is refused."""
        found = holder.get(key, [])
        for number, one in enumerate(found if isinstance(found, list) else [found]):
            where = f"{at}.{key}[{number}]"
            if isinstance(found, list) and isinstance(one, dict):
                yield one, where
            else:
                what = kind_of(one)
                self.ledger.refuse(self.entry, Wrong("structure", "a list of objects is due here", what), where)


def said(given_answer: Resource, place: Place, finding: Finding) -> tuple[ReadValue, str]:
    """Return what an answer says and the element that says it: a value, or why there is none."""
    keys = sorted(key for key in given_answer if key.startswith("value"))
    if len(keys) > 1:
        return Wrong("contradiction", "two values in one answer", ", ".join(keys), "one value"), f".{keys[0]}"
    reason = _reason(given_answer, keys)
    if reason or place.role == "absent":
        return _absent(reason, given_answer), f".{keys[0]}" if keys else ""
    if not keys:
        return Unclear("an answer without a value"), ""
    holder = _observed(keys[0], given_answer[keys[0]])
    read, _ = answer(holder, CodeMeaning(finding.name, 0, qualifier=place.qualifier), finding)
    return read, f".{keys[0]}"


def _observed(key: str, value: object) -> Resource:
    """Return an answer as an Observation would hold it: a Coding as a concept, a string by its words."""
    if key == "valueCoding":
        return {"valueCodeableConcept": {"coding": [value]}}
    return {key: value}


def _reason(given: Resource, keys: list[str]) -> str:
    """Return FHIR's code for why there is no value: chosen as the answer, or put in its place by an extension."""
    for key in ("", *keys, *(f"_{key}" for key in keys)):
        holder = mapping(given.get(key)) if key else given
        extensions = holder.get("extension")
        for one in extensions if isinstance(extensions, list) else ():
            if isinstance(one, dict) and one.get("url") == _ABSENT_EXTENSION:
                return text(one.get("valueCode"))
    coding = mapping(given.get("valueCoding"))
    return text(coding.get("code")) if coding.get("system") == ABSENT_REASON else ""


def _absent(reason: str, given: Resource) -> ReadValue:
    if reason:
        return absent({"coding": [{"system": ABSENT_REASON, "code": reason}]})
    return Unclear("no reason of FHIR why there is no value", text=shown(given.get("valueCoding") or ""))


def _of_part(fields: dict[str, Any], part: str | None) -> dict[str, Any]:
    """Return the fields of a reading under the name of its part; a value and its reason alike name the part."""
    return {**fields, "part": part} if part else fields
