"""Who is who: the newborn whose visit this is, the mother, and others."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from layette.engine.errors import InputProblem
from layette.mapping.read.bundle.entries import Entry, Inputs
from layette.mapping.read.bundle.parts import Resource, concept_codes, items, mapping, reference, shown, text

Role = Literal["baby", "mother", "other"]
_MOTHERS = {"MTH", "NMTH", "GESTM"}
_GROWN_UP_YEARS = 10


@dataclass
class People:
    """The newborn's Patient and the role of everybody else, by identity of the resource."""

    inputs: Inputs
    baby: Entry | None = None
    given: str = ""
    roles: dict[int, Role] = field(default_factory=dict)
    _known: dict[str, Role | None] = field(default_factory=dict)

    def who(self, link: object, entry: Entry | None = None) -> Role | None:
        """Return the role of the person that a Reference points to; None if nobody in the input is meant."""
        name = reference(link)
        if name.startswith("#") or not name:
            return self._role(self.inputs.resolve(name, entry) if name else None, link)
        if name not in self._known:
            self._known[name] = self._role(self.inputs.resolve(name, entry), link)
        return self._known[name]

    def _role(self, found: Entry | None, link: object) -> Role | None:
        if found is not None:
            role = self.roles.get(id(found.resource))
            return role or self._by_identifier(_identifiers(found.resource))
        wanted = mapping(link).get("identifier")
        return self._by_identifier(_identifiers({"identifier": wanted})) if wanted else None

    def _by_identifier(self, wanted: set[tuple[str, str]]) -> Role | None:
        for person in persons(self.inputs):
            if wanted & _identifiers(person.resource):
                return self.roles.get(id(person.resource))
        return None

    @property
    def alone(self) -> bool:
        """Whether the newborn is the only person in the input."""
        return set(self.roles.values()) == {"baby"}


def persons(inputs: Inputs) -> list[Entry]:
    """Return the Patients and RelatedPersons; contained Patients only where no other Patient is given."""
    patients = list(inputs.of("Patient")) or _contained_patients(inputs)
    return [*patients, *inputs.of("RelatedPerson")]


def _contained_patients(inputs: Inputs) -> list[Entry]:
    found: list[Entry] = []
    for entry in inputs.entries:
        for number, one in enumerate(entry.contained):
            if isinstance(one, dict) and one.get("resourceType") == "Patient":
                found.append(Entry(one, f"{entry.path}.contained[{number}]", parent=entry))
    return found


def _identifiers(resource: Resource) -> set[tuple[str, str]]:
    return {
        (text(one.get("system")), text(one.get("value")))
        for one in items(resource.get("identifier"))
        if text(one.get("value"))
    }


def find_people(inputs: Inputs, subject: str | None, encounter: Entry | None, problems: list[InputProblem]) -> People:
    """Find the newborn: as named, as the named Encounter's subject, else the only Patient that is not a mother."""
    people = People(inputs)
    everybody = persons(inputs)
    patients = [person for person in everybody if person.kind == "Patient"]
    _cast(people, everybody, patients)
    babies = _one_each([patient for patient in patients if id(patient.resource) not in people.roles])
    if subject is not None:
        people.baby = _named(inputs, patients, subject, problems)
        if encounter is not None and people.baby is not None:
            _refuse_two_babies(inputs, people.baby, encounter, problems)
    elif encounter is not None:
        people.baby = _subject_of(inputs, encounter, problems)
    else:
        people.baby = _only(babies, inputs, problems)
    if people.baby is not None:
        for patient in patients:
            if patient.resource is people.baby.resource or _same(patient, people.baby):
                people.roles[id(patient.resource)] = "baby"
            else:
                people.roles.setdefault(id(patient.resource), "other")
        people.roles[id(people.baby.resource)] = "baby"
    return people


def _one_each(patients: list[Entry]) -> list[Entry]:
    """Return each person once: a Patient that is contained in every resource is one person."""
    found: list[Entry] = []
    for one in patients:
        if not any(_same(one, other) for other in found):
            found.append(one)
    return found


def _same(one: Entry, other: Entry) -> bool:
    if _identifiers(one.resource) & _identifiers(other.resource):
        return True
    return bool(one.parent and other.parent) and _content(one.resource) == _content(other.resource)


def _content(resource: Resource) -> dict[str, object]:
    return {key: value for key, value in resource.items() if key != "id"}


def _only(babies: list[Entry], inputs: Inputs, problems: list[InputProblem]) -> Entry | None:
    if len(babies) == 1:
        return babies[0]
    if not babies:
        kinds = ", ".join(sorted({entry.kind for entry in inputs.entries})) or "no resource"
        hint = "a Bundle with one newborn Patient, the Encounter and its Observations"
        problems.append(InputProblem("input", "patient", "there is no newborn Patient", kinds, hint))
        return None
    names = ", ".join(baby.origin or baby.path for baby in babies)
    hint = "one newborn (a mother beside it is fine), or say which one is meant"
    problems.append(InputProblem(babies[1].path, "patient", "more than one newborn Patient", names, hint))
    return None


def _named(inputs: Inputs, patients: list[Entry], subject: str, problems: list[InputProblem]) -> Entry | None:
    found = inputs.resolve(subject)
    if found is None or found.kind != "Patient":
        found = next((one for one in patients if text(one.resource.get("id")) == subject), None)
    if found is None:
        names = ", ".join(one.origin for one in patients if one.origin)
        problems.append(InputProblem("input", "patient", "the named Patient is not in the input", subject, names))
    return found


def _refuse_two_babies(inputs: Inputs, baby: Entry, encounter: Entry, problems: list[InputProblem]) -> None:
    """Report a named Encounter whose subject is not the named newborn, or of whom that is not known."""
    link = encounter.resource.get("subject")
    if link is None:
        return
    name, wanted = reference(link), mapping(link).get("identifier")
    other = inputs.resolve(name, encounter) if name else None
    if other is not None and (other.resource is baby.resource or _same(other, baby)):
        return
    if other is None and wanted and _identifiers({"identifier": wanted}) & _identifiers(baby.resource):
        return
    message = "the named Encounter is of another person than the named Patient"
    if other is None:
        message = "the named Encounter is not of the named Patient, as far as the input says"
    said = name or shown(mapping(wanted).get("value", ""))
    problems.append(InputProblem(f"{encounter.path}.subject", "patient", message, said, baby.origin or baby.path))


def _subject_of(inputs: Inputs, encounter: Entry, problems: list[InputProblem]) -> Entry | None:
    name = reference(encounter.resource.get("subject"))
    found = inputs.resolve(name, encounter) if name else None
    if found is None or found.kind != "Patient":
        message = "the Encounter's subject is not in the input"
        problems.append(InputProblem(f"{encounter.path}.subject", "patient", message, name, "the newborn's Patient"))
        return None
    return found


def _cast(people: People, everybody: list[Entry], patients: list[Entry]) -> None:
    """Give roles to those who are surely not the newborn."""
    related = [person for person in everybody if person.kind == "RelatedPerson"]
    for person in related:
        people.roles[id(person.resource)] = "mother" if is_mother(person.resource) else "other"
    for entry in people.inputs.entries:
        if entry.aside and entry.kind == "RelatedPerson":  # a person all the same, so the newborn is not alone
            people.roles.setdefault(id(entry.resource), "other")
    if len(patients) < 2:
        return
    mothers = [p for p in patients if _linked(people, p, related) or _in_focus(people.inputs, p, patients)]
    grown = [patient for patient in patients if patient not in mothers and _grown_up(patient, patients)]
    women = [patient for patient in grown if patient.resource.get("gender") != "male"]
    if not mothers and len(women) == 1:
        mothers = women
    for patient in grown:
        people.roles[id(patient.resource)] = "other"
    for mother in mothers:
        people.roles[id(mother.resource)] = "mother"


def is_mother(related: Resource) -> bool:
    """Whether a RelatedPerson is said to be the mother."""
    return any(
        concept_codes(concept) & _MOTHERS or text(concept.get("text")).casefold() == "mother"
        for concept in items(related.get("relationship"))
    )


def _linked(people: People, patient: Entry, related: list[Entry]) -> bool:
    """Whether a Patient is the same person as a RelatedPerson who is the mother."""
    for link in items(patient.resource.get("link")):
        other = people.inputs.resolve(reference(link.get("other")), patient)
        if other is not None and people.roles.get(id(other.resource)) == "mother":
            return True
    own = _identifiers(patient.resource)
    return any(own & _identifiers(one.resource) for one in related if people.roles[id(one.resource)] == "mother")


def _in_focus(inputs: Inputs, patient: Entry, patients: list[Entry]) -> bool:
    """Whether Observations about somebody else look at this Patient, who has no birth date to tell."""
    if patient.resource.get("birthDate") is not None:
        return False
    for entry in inputs.of("Observation"):
        for focus in items(entry.resource.get("focus")):
            if inputs.resolve(reference(focus), entry) is patient:
                about = inputs.resolve(reference(entry.resource.get("subject")), entry)
                if about is not patient and about in patients:
                    return True
    return False


def _grown_up(patient: Entry, patients: list[Entry]) -> bool:
    years = [year for one in patients if (year := _year(one)) is not None]
    year = _year(patient)
    return year is not None and max(years) - year >= _GROWN_UP_YEARS


def _year(patient: Entry) -> int | None:
    born = text(patient.resource.get("birthDate"))[:4]
    return int(born) if len(born) == 4 and born.isascii() and born.isdigit() else None
