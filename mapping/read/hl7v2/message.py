"""HL7 v2 ORU^R01 in: the message is put into the shapes of FHIR and read like them, and named by its own fields.

Needs the extra ``hl7v2`` (the library hl7apy), which takes the segments apart.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from layette.engine.errors import InputProblem
from layette.engine.visit import carried
from layette.mapping.codes import OWN_BASE
from layette.mapping.pack_view import PackView
from layette.mapping.read.bundle.result import NotUsed, ReadResult
from layette.mapping.read.bundle.times import EXAMPLE
from layette.mapping.read.codes.index import SiteCode
from layette.mapping.read.hl7v2.fields import STATUS, concept, interpretation, time, value
from layette.mapping.read.hl7v2.segments import Repetition, Segment, part, refused, take_apart
from layette.mapping.read.reader import read

_TIMED = "a time such as 20261124101500-0600 (or an offset in MSH-7, or a time zone in the site file)"
_EXPECTED = {
    "no status of an Observation": ", ".join(STATUS),
    "there is no newborn Patient": "a PID segment with the newborn",
    "more than one newborn Patient": "one newborn in one message",
    "the moment of the visit is not known": "a result with its time (OBX-14 or OBR-7)",
}
"""What would be right, where reading would name it by the words of FHIR."""
_SEXES = {"F": "female", "M": "male", "U": "unknown", "O": "other", "A": "other", "N": "other"}
_PLACE = re.compile(r"Bundle\.entry\[(\d+)\](?:\.resource)?(?:\.(\w+))?[\w.\[\]]*")
_PATIENT = re.compile(r"\bPatient/PID(\d+)\b")
_FIELDS = {
    "code": "3", "value": "5", "dataAbsentReason": "5", "interpretation": "8", "status": "11", "effective": "14",
    "method": "17", "bodySite": "20", "birthDate": "7", "gender": "8", "period": "44",
}  # fmt: skip


@dataclass
class _Message:
    """What the segments before one another say: the times' offset, the person and the time of the order."""

    zone: ZoneInfo | None
    base: str
    offset: str = ""
    person: str = ""
    ordered: str = ""
    entries: list[dict[str, Any]] = field(default_factory=list)

    def time(self, written: str) -> str:
        return time(written, self.zone, self.offset)


def is_message(data: bytes) -> bool:
    """Whether these bytes begin as an HL7 v2 message does."""
    return data.lstrip(b"\x0b \t\r\n\xef\xbb\xbf").startswith(b"MSH")


def read_message(
    data: bytes,
    pack: PackView,
    *,
    zone: str | None = None,
    subject: str | None = None,
    encounter: str | None = None,
    site_codes: Iterable[SiteCode] = (),
    base: str = OWN_BASE,
    at: str | None = None,
) -> ReadResult:
    """Read one ORU^R01 message into a flat visit; each segment is one entry of the account.

    ``zone`` (IANA) is for times without an offset where MSH-7 has none; the rest is as for `read`. Raises `InputError`
    where the bytes are no such message.
    """
    segments = take_apart(data, _TAKEN)
    if [segment.name for segment in segments].count("MSH") > 1:
        raise refused("MSH[2]", "more than one message", expected="one message in one file")
    if segments[0].text(9) != "ORU" or segments[0].text(9, 2) not in ("R01", ""):
        raise refused("MSH-9", "a message of this type is not read", segments[0].text(9), "ORU^R01")
    message = _Message(ZoneInfo(zone) if zone else None, base.rstrip("/"))
    for segment in segments:
        _TAKEN.get(segment.name, _nothing)(message, segment)
    bundle = {"resourceType": "Bundle", "type": "collection", "entry": message.entries}
    result = read(
        bundle, pack, subject=subject, encounter=encounter, site_codes=site_codes, base=base, at=at, zone=zone
    )
    return _named(result, segments)


def _head(message: _Message, segment: Segment) -> None:
    shift = re.search(r"[+-]\d{4}$", segment.text(7))
    message.offset = shift[0] if shift else ""
    message.entries.append({})


def _nothing(message: _Message, segment: Segment) -> None:
    message.entries.append({})


def _person(message: _Message, segment: Segment) -> None:
    born, sex = message.time(segment.text(7)), segment.text(8)
    names = [_identifier(message, identifier) for identifier in segment.fields.get(3, ()) if part(identifier, 1)]
    message.person = f"PID{segment.number}"
    patient: dict[str, Any] = {"resourceType": "Patient", "id": message.person, "identifier": names}
    patient |= {"gender": _SEXES.get(sex, sex)} if sex else {}
    patient |= {"birthDate": born.partition("T")[0]} if born else {}
    if "T" in born:
        url = "http://hl7.org/fhir/StructureDefinition/patient-birthTime"
        patient["extension"] = [{"url": url, "valueDateTime": born}]
    message.entries.append({"resource": patient})


def _identifier(message: _Message, one: Repetition) -> dict[str, str]:
    """Return an identifier; an authority known by its short name alone gets a system under the site's base."""
    name, known, kind = (f"{part(one, 4)}&&".split("&"))[:3]
    system = f"urn:oid:{known}" if kind == "ISO" and known else known
    if name and not system:
        system = f"{message.base}/identifier/{quote(name, safe='')}"
    return {"value": part(one, 1), **({"system": system} if system else {})}


def _stay(message: _Message, segment: Segment) -> None:
    """An outpatient's stay is the visit; an admission began long before the examination and says nothing of it."""
    start, end = message.time(segment.text(44)), message.time(segment.text(45))
    if segment.text(2) != "O" or not start:
        message.entries.append({})
        return
    period = {"start": start, **({"end": end} if end else {})}
    status = "finished" if end else "in-progress"
    subject = {"reference": f"Patient/{message.person}"}
    visit = {"resourceType": "Encounter", "status": status, "subject": subject, "period": period}
    message.entries.append({"resource": visit})


def _order(message: _Message, segment: Segment) -> None:
    message.ordered = segment.text(7)
    message.entries.append({})


def _result(message: _Message, segment: Segment) -> None:
    at, status = message.time(segment.text(14) or message.ordered), segment.text(11)
    elements: dict[str, Any] = {
        "status": STATUS.get(status, status),
        "code": concept(segment.first(3)),
        "subject": {"reference": f"Patient/{message.person}"} if message.person else None,
        "effectiveDateTime": at or None,
        "interpretation": interpretation(segment.fields.get(8, [])) or None,
        "method": concept(segment.first(17)),
        "bodySite": concept(segment.first(20)),
    }
    elements |= value(segment.text(2), segment.fields.get(5, []), segment.first(6))
    resource = {key: element for key, element in elements.items() if element is not None}
    message.entries.append({"resource": {"resourceType": "Observation", **resource}})


_TAKEN: Mapping[str, Callable[[_Message, Segment], None]] = {
    "MSH": _head, "PID": _person, "PV1": _stay, "OBR": _order, "OBX": _result,
}  # fmt: skip


def _named(result: ReadResult, segments: list[Segment]) -> ReadResult:
    """Return the result with the places of the message (``OBX[2]-5``) for those of the Bundle."""

    def at(match: re.Match[str]) -> str:
        segment = segments[int(match[1])]
        key = next((number for key, number in _FIELDS.items() if (match[2] or "").startswith(key)), "")
        return f"{segment.name}[{segment.number}]" + (f"-{key}" if key else "")

    for reading in (*result.readings(), *result.not_understood):
        reading["path"] = _PLACE.sub(at, reading["path"])
    result.visit.pop("patient", None)
    unused = tuple(_unused(entry, at) for entry in result.not_used)
    notices = tuple(_PLACE.sub(at, notice) for notice in result.notices)
    problems = tuple(_told(problem, at) for problem in result.problems)
    if problems:
        result.visit[carried.PART] = carried.written(problems)
    outcomes = tuple((_PLACE.sub(at, place), outcome) for place, outcome in result.outcomes)
    return replace(result, problems=problems, not_used=unused, notices=notices, baby=None, outcomes=outcomes)


def _told(problem: InputProblem, at: Callable[[re.Match[str]], str]) -> InputProblem:
    """Return a problem in the words of the message."""
    expected = _EXPECTED.get(problem.message, {EXAMPLE: _TIMED}.get(problem.expected, problem.expected))
    value = _PATIENT.sub(r"PID[\1]", problem.value)
    return replace(problem, path=_PLACE.sub(at, problem.path), value=value, expected=expected)


def _unused(entry: NotUsed, at: Callable[[re.Match[str]], str]) -> NotUsed:
    place = _PLACE.sub(at, entry.path)
    name = place.partition("[")[0]
    why = entry.why if entry.kind else "it only frames the results" if name in _TAKEN else "a segment that is not read"
    return NotUsed(place, name, why)
