"""Reading a FHIR R4 input into a flat visit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from layette.engine.errors import InputProblem
from layette.engine.exact.times import named_zone
from layette.engine.visit import carried
from layette.engine.visit.values import kind_of
from layette.mapping.codes import OWN_BASE
from layette.mapping.pack_view import PackView
from layette.mapping.read.bundle.entries import Entry, Inputs, gather
from layette.mapping.read.bundle.members import share_with_diagnoses, share_with_members
from layette.mapping.read.bundle.modifiers import set_aside_modified
from layette.mapping.read.bundle.moment import moment_of, named_encounter
from layette.mapping.read.bundle.parts import Resource, identifiers, items, mapping, shown, text, value_text, wrong_kind
from layette.mapping.read.bundle.people import People, find_people
from layette.mapping.read.bundle.result import NOTES, Counts, NotUsed, Outcome, ReadResult, around
from layette.mapping.read.codes.amounts import Unclear, Wrong
from layette.mapping.read.codes.exam_form import exam_url
from layette.mapping.read.codes.index import SiteCode, index_of
from layette.mapping.read.resources.diagnoses import read_condition
from layette.mapping.read.resources.history import (
    read_communication,
    read_communication_request,
    read_immunization,
    read_list,
    read_procedure,
)
from layette.mapping.read.resources.ledger import Ledger
from layette.mapping.read.resources.observations import read_observation
from layette.mapping.read.resources.orders import read_request
from layette.mapping.read.resources.questionnaire import read_questionnaire
from layette.mapping.read.resources.reports import read_report
from layette.mapping.read.resources.statements import STATING, keep_reasons, keep_statements
from layette.mapping.read.resources.unplaced import told_here

_READERS: Mapping[str, Callable[[Ledger, Entry], None]] = {
    "Communication": read_communication,
    "CommunicationRequest": read_communication_request,
    "Condition": read_condition,
    "DiagnosticReport": read_report,
    "Immunization": read_immunization,
    "List": read_list,
    "Observation": read_observation,
    "Procedure": read_procedure,
    "QuestionnaireResponse": read_questionnaire,
    "ServiceRequest": read_request,
    **dict.fromkeys(STATING, keep_statements),
}
_BIRTH_SEX = "http://hl7.org/fhir/us/core/StructureDefinition/us-core-birthsex"
_SEXES = {"M": "male", "F": "female", "OTH": "other", "UNK": "unknown", "ASKU": "unknown"}
_SUBJECTS = ("subject", "patient", "for", "beneficiary")
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
    zone: str | None = None,
) -> ReadResult:
    """Read a Bundle, a list of Bundles or resources, or one resource, into a flat visit.

    ``resource`` is parsed JSON with numbers as Decimal (`layette.mapping.fhir_json.loads`); ``pack`` says which
    findings and targets are looked for, ``site_codes`` are a site's own codes, ``base`` is the canonical base of our
    own code systems. The caller may name the newborn (``subject``, a reference or id, where the input holds more than
    one), the visit's ``encounter`` (else it is the newborn's latest) and its moment (``at``, instead of the Encounter's
    start), the site's time ``zone`` (IANA), and what history is complete: observations, orders, guidance,
    immunizations.

    Returns the visit, all problems at once, and an account of every entry; raises nothing for bad input. The visit
    carries its problems along, so that `Pack.assess` raises `InputError`, as `ReadResult.require` does.
    """
    ledger = _opened(gather(resource), pack, base, site_codes, subject, encounter, at, zone)
    ledger.complete |= set(history_complete)
    for entry in ledger.inputs.entries:
        if not entry.aside and entry.outcome is not Outcome.REFUSED:
            _read_entry(ledger, entry)
    ledger.join_weights()
    ledger.take_first_weight()
    return _result(ledger, _visit(ledger))


def _opened(
    inputs: Inputs,
    pack: PackView,
    base: str,
    site_codes: Iterable[SiteCode],
    subject: str | None,
    encounter: str | None,
    at: str | None,
    zone: str | None,
) -> Ledger:
    """Return the ledger of a visit of which it is known whose it is and when, as far as the input says so."""
    modified = set_aside_modified(inputs)
    share_with_members(inputs)
    problems = list(inputs.problems)
    named = named_encounter(inputs, encounter, problems)
    people = People(inputs) if problems and not inputs.entries else find_people(inputs, subject, named, problems)
    moment = moment_of(inputs, people, named, at, problems, exam_url(base, pack.id), named_zone(zone) if zone else None)
    share_with_diagnoses(inputs, moment.encounters)
    ledger = Ledger(inputs, index_of(pack, base, site_codes), people, moment, problems, notices=list(inputs.notices))
    for entry, suffix, why, url in modified:
        ledger.keep(entry, Unclear(why, "", url), suffix, told=told_here(ledger, entry))
    return ledger


def _result(ledger: Ledger, visit: dict[str, Any]) -> ReadResult:
    problems = tuple(sorted(set(_said_of_what(ledger))))
    visit |= {carried.PART: carried.written(problems)} if problems else {}
    entries, baby = ledger.inputs.entries, ledger.people.baby
    outcomes = tuple((entry.path, entry.outcome) for entry in entries)
    return ReadResult(
        visit,
        problems,
        Counts.of((outcome for _, outcome in outcomes), sum(len(entry.contained) for entry in entries)),
        tuple(NotUsed(entry.path, entry.kind, entry.why) for entry in entries if entry.outcome is Outcome.NOT_USED),
        (*ledger.notices, *_not_read(ledger)),
        ledger.moment.until,
        baby.resource if baby else None,
        outcomes,
    )


def _said_of_what(ledger: Ledger) -> Iterator[InputProblem]:
    """Yield the problems, each with the finding of this visit that it is about, since an error must not hide that."""
    about: dict[str, str] = {}
    for entry in ledger.inputs.entries:
        refused = entry.outcome is Outcome.REFUSED and ledger.people.baby is not None
        if refused and entry.kind in ("Observation", "Condition") and (told := told_here(ledger, entry)).finding:
            label = ledger.index.findings[told.finding].shape.label
            about[entry.path] = f", for '{label}' {value_text(entry.resource)}".rstrip()
    for problem in ledger.problems:
        place = next((place for place in around(problem.path) if place in about), "")
        yield replace(problem, message=problem.message + about[place]) if place else problem


def _not_read(ledger: Ledger) -> Iterator[str]:
    """Yield sentences about what of the newborn's record is not read: notes, and resources of other kinds."""
    if ledger.notes:
        yield f"{NOTES}, {len(ledger.notes)}: {'; '.join(ledger.notes)}"
    unread = [entry for entry in ledger.inputs.entries if entry.why == _unread(entry.kind)]
    kinds = Counter(entry.kind for entry in unread if _is_of_baby(ledger, entry))
    if kinds:
        named = ", ".join(kind if number == 1 else f"{kind} ({number})" for kind, number in sorted(kinds.items()))
        yield f"Not read, of this newborn: {named}"


def _is_of_baby(ledger: Ledger, entry: Entry) -> bool:
    """Whether a resource is about the newborn and none of our own, which are known by a tag."""
    tags = (text(tag.get("system")) for tag in items(mapping(entry.resource.get("meta")).get("tag")))
    if any(system.startswith(f"{ledger.index.base}/") for system in tags):
        return False
    return any(key in entry.resource and ledger.is_of_baby(entry, key) for key in _SUBJECTS)


def _unread(kind: str) -> str:
    return f"a {shown(kind)} is not read"


def _read_entry(ledger: Ledger, entry: Entry) -> None:
    reader = _READERS.get(entry.kind)
    if reader is None:
        _other(ledger, entry)
        return
    # What only states something is taken apart without trust; elements of these names are of another kind there.
    wrong = None if entry.kind in STATING else wrong_kind(entry.resource)
    if wrong is not None:
        what = kind_of(entry.resource[wrong])
        ledger.refuse(
            entry, Wrong("structure", "an element of the wrong kind", what, "what FHIR R4 defines"), f".{wrong}"
        )
    elif ledger.people.baby is None:
        entry.mark(Outcome.NOT_USED, "whose visit this is, is not known")
    else:
        reader(ledger, entry)


def _other(ledger: Ledger, entry: Entry) -> None:
    """Account for an entry that is no finding and no history."""
    role = ledger.people.roles.get(id(entry.resource))
    if role in ("baby", "mother"):
        entry.mark(Outcome.USED)
    elif role == "other":
        entry.mark(Outcome.NOT_USED, "another person")
    elif entry.kind == "Encounter" and entry.outcome is Outcome.USED:
        keep_reasons(ledger, entry)
    elif entry.kind == "Encounter":
        entry.mark(Outcome.NOT_USED, "another encounter: what refers to it is history")
    else:
        entry.mark(Outcome.NOT_USED, _unread(entry.kind) if entry.kind else entry.why)


def _visit(ledger: Ledger) -> dict[str, Any]:
    """Return the flat visit; keys without content are left out."""
    moment = ledger.moment
    visit: dict[str, Any] = {"layette_visit": 1}
    if ledger.people.baby is not None:
        visit |= _patient(ledger, ledger.people.baby)
    visit |= {"encounter": moment.encounter, "born": moment.born, "at": moment.at, "until": _until(ledger)}
    visit["findings"] = ledger.findings
    history = {"findings": ledger.earlier, **ledger.history}
    visit["history"] = {key: value for key, value in history.items() if value}
    visit["history_complete"] = sorted(ledger.complete)
    visit["not_understood"] = ledger.not_understood
    return {key: value for key, value in visit.items() if value or key == "findings"}


def _until(ledger: Ledger) -> str | None:
    """Return the time of what was found last within the visit, where that is after its start."""
    if ledger.latest is None or ledger.moment.span.at is None or ledger.latest[0] <= ledger.moment.span.at:
        return None
    return ledger.latest[1]


def _patient(ledger: Ledger, baby: Entry) -> dict[str, Any]:
    resource = baby.resource
    return {
        "patient": baby.origin,
        "identifiers": identifiers(resource.get("identifier")),
        "sex_at_birth": _sex(ledger, baby),
    }


def _sex(ledger: Ledger, baby: Entry) -> str | None:
    """Return the sex at birth: as stated by the extension, else the administrative gender."""
    stated = _stated_sex(baby.resource) or ledger.stated_sex
    gender = baby.resource.get("gender")
    if gender is not None and gender not in _GENDERS:
        problem = InputProblem(
            f"{baby.path}.gender", "structure", "no gender of FHIR", shown(gender), ", ".join(_GENDERS)
        )
        ledger.problems.append(problem)
        gender = None
    if stated is not None and gender is not None and stated != gender:
        ledger.notices.append(f"{baby.path}.gender: it differs from the sex at birth, which is used")
    return stated or gender


def _stated_sex(resource: Resource) -> str | None:
    for one in items(resource.get("extension")):
        if one.get("url") == _BIRTH_SEX:
            return _SEXES.get(text(one.get("valueCode")))
    return None
