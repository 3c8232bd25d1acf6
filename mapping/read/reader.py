"""Reading a FHIR R4 input into a flat visit."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from layette.engine.errors import InputProblem
from layette.engine.visit import carried
from layette.mapping.codes import OWN_BASE
from layette.mapping.read.bundle.entries import Entry, shelve
from layette.mapping.read.bundle.moment import Moment, moment_of, named_encounter
from layette.mapping.read.bundle.parts import Resource, items, shown, text, wrong_kind
from layette.mapping.read.bundle.people import People, find_people
from layette.mapping.read.bundle.result import Counts, Fate, NotUsed, ReadResult
from layette.mapping.read.codes.amounts import Wrong
from layette.mapping.read.codes.exam_form import exam_url
from layette.mapping.read.codes.index import index_of
from layette.mapping.read.codes.pack_view import PackView, SiteCode
from layette.mapping.read.resources.diagnoses import read_condition
from layette.mapping.read.resources.history import (
    read_communication,
    read_immunization,
    read_list,
    read_procedure,
    read_request,
)
from layette.mapping.read.resources.ledger import Desk
from layette.mapping.read.resources.observations import read_observation, read_report
from layette.mapping.read.resources.questionnaire import read_questionnaire

_READERS: Mapping[str, Callable[[Desk, Entry], None]] = {
    "Communication": read_communication,
    "Condition": read_condition,
    "DiagnosticReport": read_report,
    "Immunization": read_immunization,
    "List": read_list,
    "Observation": read_observation,
    "Procedure": read_procedure,
    "QuestionnaireResponse": read_questionnaire,
    "ServiceRequest": read_request,
}
_BIRTH_SEX = "http://hl7.org/fhir/us/core/StructureDefinition/us-core-birthsex"
_SEXES = {"M": "male", "F": "female", "OTH": "other", "UNK": "unknown", "ASKU": "unknown"}
_GENDERS = ("male", "female", "other", "unknown")


def read(
    resource: dict[str, Any] | list[dict[str, Any]],
    pack: PackView,
    *,
    subject: str | None = None,
    encounter: str | None = None,
    site_codes: Iterable[SiteCode] = (),
    base: str = OWN_BASE,
    at: str | None = None,
    history_complete: Iterable[str] = (),
) -> ReadResult:
    """Read a Bundle, a list of Bundles or resources, or one resource, into a flat visit.

    Args:
        resource: parsed JSON with numbers as Decimal (`layette.mapping.fhir_json.loads`).
        pack: whose findings and targets are looked for.
        subject: the newborn (reference or id), where the input holds more than one.
        encounter: the visit's Encounter (reference or id); else the newborn's latest.
        site_codes: a site's own codes.
        base: canonical base of our own code systems.
        at: the moment of the visit, instead of the Encounter's start.
        history_complete: what the caller declares complete: observations, orders, guidance, immunizations.

    Returns:
        The visit, all problems at once, and an account of every entry. Raises nothing for bad input:
        `ReadResult.require` raises `InputError`. The visit carries its problems along, so that `Pack.assess` raises.
    """
    shelf = shelve(resource)
    problems = list(shelf.problems)
    named = named_encounter(shelf, encounter, problems)
    people = People(shelf) if problems and not shelf.entries else find_people(shelf, subject, named, problems)
    moment = moment_of(shelf, people, named, at, problems, exam_url(base, pack.id))
    index = index_of(pack, base, site_codes)
    desk = Desk(shelf, index, people, moment.clock, moment.encounter, moment.encounters, problems)
    desk.notices += shelf.notices
    desk.complete |= set(history_complete)
    for entry in shelf.entries:
        if not entry.aside and entry.fate is not Fate.REFUSED:
            _read_entry(desk, entry)
    visit = _visit(desk, moment)
    problems = sorted(set(desk.problems))
    visit |= {carried.PART: carried.written(problems)} if problems else {}
    baby = people.baby.resource if people.baby else None
    unused = tuple(NotUsed(e.path, e.kind, e.why) for e in shelf.entries if e.fate is Fate.NOT_USED)
    return ReadResult(
        visit,
        tuple(problems),
        Counts.of((entry.fate for entry in shelf.entries), sum(len(entry.contained) for entry in shelf.entries)),
        unused,
        tuple(desk.notices),
        moment.until,
        baby,
        tuple((entry.path, entry.fate) for entry in shelf.entries),
    )


def _read_entry(desk: Desk, entry: Entry) -> None:
    reader = _READERS.get(entry.kind)
    if reader is None:
        _other(desk, entry)
        return
    wrong = wrong_kind(entry.resource)
    if wrong is not None:
        what = type(entry.resource[wrong]).__name__
        desk.refuse(
            entry, Wrong("structure", "an element of the wrong kind", what, "what FHIR R4 defines"), f".{wrong}"
        )
    elif desk.people.baby is None:
        entry.mark(Fate.NOT_USED, "whose visit this is, is not known")
    else:
        reader(desk, entry)


def _other(desk: Desk, entry: Entry) -> None:
    """Account for an entry that is no finding and no history."""
    role = desk.people.roles.get(id(entry.resource))
    if role in ("baby", "mother"):
        entry.mark(Fate.USED)
    elif role == "other":
        entry.mark(Fate.NOT_USED, "another person")
    elif entry.kind == "Encounter":
        entry.mark(Fate.NOT_USED, "another encounter: what refers to it is history")
    else:
        entry.mark(Fate.NOT_USED, f"a {shown(entry.kind)} is not read" if entry.kind else entry.why)


def _visit(desk: Desk, moment: Moment) -> dict[str, Any]:
    """Return the flat visit; keys without content are left out."""
    visit: dict[str, Any] = {"layette_visit": 1}
    if desk.people.baby is not None:
        visit |= _patient(desk, desk.people.baby)
    visit |= {"encounter": moment.encounter, "born": moment.born, "at": moment.at, "until": _until(desk)}
    visit["findings"] = desk.findings
    history = {"findings": desk.earlier, **desk.history}
    visit["history"] = {key: value for key, value in history.items() if value}
    visit["history_complete"] = sorted(desk.complete)
    visit["not_understood"] = desk.not_understood
    return {key: value for key, value in visit.items() if value or key == "findings"}


def _until(desk: Desk) -> str | None:
    """Return the time of what was found last within the visit, where that is after its start."""
    if desk.latest is None or desk.clock.at is None or desk.latest[0] <= desk.clock.at:
        return None
    return desk.latest[1]


def _patient(desk: Desk, baby: Entry) -> dict[str, Any]:
    resource = baby.resource
    found = [
        {key: text(one[key]) for key in ("system", "value") if text(one.get(key))}
        for one in items(resource.get("identifier"))
    ]
    identifiers = [one for one in found if "value" in one]
    return {"patient": baby.origin, "identifiers": identifiers, "sex_at_birth": _sex(desk, baby)}


def _sex(desk: Desk, baby: Entry) -> str | None:
    """Return the sex at birth: as stated by the extension, else the administrative gender."""
    stated = _stated_sex(baby.resource) or desk.stated_sex
    gender = baby.resource.get("gender")
    if gender is not None and gender not in _GENDERS:
        problem = InputProblem(
            f"{baby.path}.gender", "structure", "no gender of FHIR", shown(gender), ", ".join(_GENDERS)
        )
        desk.problems.append(problem)
        gender = None
    if stated is not None and gender is not None and stated != gender:
        desk.notices.append(f"{baby.path}.gender: it differs from the sex at birth, which is used")
    return stated or gender


def _stated_sex(resource: Resource) -> str | None:
    for one in items(resource.get("extension")):
        if one.get("url") == _BIRTH_SEX:
            return _SEXES.get(text(one.get("valueCode")))
    return None
