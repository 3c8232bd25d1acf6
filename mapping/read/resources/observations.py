"""Observations: what is asked by the code, what is answered by the value, of whom, where and when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from layette.mapping.codes import OWN
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, described, items, reference, shown
from layette.mapping.read.bundle.result import Fate
from layette.mapping.read.bundle.times import BadTimeError, effective, effective_key
from layette.mapping.read.codes.amounts import Unclear, Wrong, number_text, unit_of
from layette.mapping.read.codes.index import Asked
from layette.mapping.read.codes.sides import qualifiers, sides
from layette.mapping.read.codes.values import answer, has_value
from layette.mapping.read.resources.ledger import WITHDRAWN, Desk, Where
from layette.mapping.read.resources.panels import Said, together

STATUSES = ("registered", "preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error", "unknown")
_INHERITED = (
    "subject", "focus", "encounter", "status", "performer", "bodySite", "effectiveDateTime", "effectivePeriod",
    "effectiveInstant",
)  # fmt: skip


@dataclass(slots=True)
class Frame:
    """What all readings of one Observation share."""

    where: Where | None
    time: str | None
    moment: date | None
    status: str
    reported: bool
    withdrawn: bool
    person: str


def read_observation(desk: Desk, entry: Entry) -> None:
    """Read one Observation with its components, and the Observations that it contains as members."""
    resource = entry.resource
    if is_computed(desk, resource):
        entry.mark(Fate.NOT_USED, "it was computed by Layette, not observed")
        return
    person = desk.about(entry)
    frame = _frame(desk, entry, person) if person else None
    if frame is None:
        return
    said = list(_all_said(desk, entry, frame))
    for one in together(said):
        _record(desk, entry, one, frame)
    _members(desk, entry)


def is_computed(desk: Desk, resource: Resource) -> bool:
    """Whether a resource carries our tag for what rules computed."""
    return _tagged(desk, resource, "computed")


def _tagged(desk: Desk, resource: Resource, code: str) -> bool:
    meta = resource.get("meta")
    if not isinstance(meta, dict) or "tag" not in meta:
        return False
    system = f"{desk.index.base}/{OWN['tags']}"
    return any(tag.get("system") == system and tag.get("code") == code for tag in items(meta["tag"]))


def _frame(desk: Desk, entry: Entry, person: str) -> Frame | None:
    resource = entry.resource
    status = resource.get("status")
    if status not in STATUSES:
        desk.refuse(
            entry, Wrong("structure", "no status of an Observation", shown(status), ", ".join(STATUSES)), ".status"
        )
        return None
    withdrawn = status in WITHDRAWN
    try:
        time, moment = effective(resource)
    except BadTimeError as bad:
        desk.refuse_time(entry, bad, withdrawn=withdrawn)
        return None
    wrong = desk.check_time(moment, time, effective_key(resource), of_baby=person == "baby")
    if wrong is not None:
        desk.refuse(entry, wrong, withdrawn=withdrawn)
        return None
    where = desk.belongs(resource, entry, moment)
    return Frame(where, time, moment, str(status), _reported(desk, entry), withdrawn, person)


def _reported(desk: Desk, entry: Entry) -> bool:
    """Whether the family told it: our tag says so, or nobody but family performed it."""
    if _tagged(desk, entry.resource, "reported"):
        return True
    performers = entry.resource.get("performer")
    if not isinstance(performers, list) or not performers:
        return False
    return all(desk.people.who(one, entry) is not None for one in performers)


def _all_said(desk: Desk, entry: Entry, frame: Frame) -> Iterator[Said]:
    resource = entry.resource
    speaks = has_value(resource)
    components = list(items(resource.get("component")))
    asked = _asked(desk, entry, resource, "", frame)
    if speaks or not (components or "hasMember" in resource):
        yield from _said(desk, entry, resource, "", asked, frame)
    pieces = _pounds_and_ounces(desk, asked, [resource, *components])
    for number, component in enumerate(components):
        suffix = f".component[{number}]"
        inner = asked if id(component) in pieces else _asked(desk, entry, component, suffix, frame)
        yield from _said(desk, entry, component, suffix, inner, frame)
    if not components and "hasMember" in resource and not speaks:
        entry.mark(Fate.NOT_USED, "a panel; its members are read by themselves")


def _pounds_and_ounces(desk: Desk, asked: tuple[Asked, ...], holders: list[Resource]) -> set[int]:
    """Return the components without a code that give pounds or ounces of what their Observation asks.

    Only both together are a weight: of seven pounds and something that is not understood nobody knows the weight.
    """
    units = desk.index.findings[asked[0].finding].units if asked else None
    if units is None or "[oz_av]" not in units.accepts:
        return set()
    names = {one.finding for one in asked}
    weighed = [one for one in holders if isinstance(one.get("valueQuantity"), dict)]
    fitting = [one for one in weighed if names >= {a.finding for a in desk.index.asked(codings(one.get("code")))}]
    given = [unit_of(one["valueQuantity"], units) for one in fitting]
    both = len(given) == 2 and {"[lb_av]", "[oz_av]"} == {unit for unit in given if isinstance(unit, str)}
    return {id(one) for one in fitting if both and not codings(one.get("code"))}


def _asked(desk: Desk, entry: Entry, holder: Resource, suffix: str, frame: Frame) -> tuple[Asked, ...]:
    """Return what a code asks of this person; nothing where two codings ask for different findings."""
    found = desk.index.asked(codings(holder.get("code")))
    fitting = tuple(a for a in found if a.plainly or desk.index.findings[a.finding].person == frame.person)
    if found and not fitting:
        who = desk.index.findings[found[0].finding].person
        why = f"this is asked of the {who}, and the resource is about the {frame.person}; set subject or focus"
        desk.keep(entry, Unclear(why), f"{suffix}.code", holder.get("code"))
    names = {a.finding for a in fitting} if len(fitting) > 1 else set()
    if len(names) > 1 and not _one_coding(desk, holder, names):
        wrong = Wrong("contradiction", "codes of different findings", ", ".join(sorted(names)), "codes of one finding")
        desk.refuse(entry, wrong, f"{suffix}.code", withdrawn=frame.withdrawn)
        return ()
    if not found and has_value(holder):
        why = "a code that is not in the dictionary" if codings(holder.get("code")) else "no code"
        desk.keep(entry, Unclear(why), f"{suffix}.code", holder.get("code"))
    return fitting


def _one_coding(desk: Desk, holder: Resource, names: set[str]) -> bool:
    """Whether a single coding stands for all of these findings."""
    return any(names <= {a.finding for a in desk.index.asked([coding])} for coding in codings(holder.get("code")))


def _said(
    desk: Desk, entry: Entry, holder: Resource, suffix: str, asked: tuple[Asked, ...], frame: Frame
) -> Iterator[Said]:
    """Yield what is said; of several findings that share a code, those that understand the answer."""
    if not asked:
        if not suffix and not has_value(holder):
            desk.keep(
                entry, Unclear("a code that is not in the dictionary, without a value"), ".code", holder.get("code")
            )
        return
    answers = [(one, *answer(holder, one, desk.index.findings[one.finding])) for one in asked]
    understood = [(one, found, place) for one, found, place in answers if isinstance(found, dict)]
    if not understood:
        _not_said(desk, entry, answers[0][1], f"{suffix}{answers[0][2]}", holder, frame)
    for one, found, place in understood:
        yield from _placed(desk, entry, holder, Said(one, found, f"{suffix}{place}", suffix, source=holder), frame)


def _not_said(desk: Desk, entry: Entry, found: object, place: str, holder: Resource, frame: Frame) -> None:
    if isinstance(found, Wrong):
        desk.refuse(entry, found, place, withdrawn=frame.withdrawn)
    elif isinstance(found, Unclear):
        code, said = described(holder.get("code"))
        desk.keep(entry, Unclear(found.why, found.code or code, found.text or said), place)


def _placed(desk: Desk, entry: Entry, holder: Resource, said: Said, frame: Frame) -> Iterator[Said]:
    finding = desk.index.findings[said.asked.finding]
    if said.asked.qualifier:
        yield said
        return
    if finding.parts and not said.asked.part and "absent" not in said.fields:
        desk.keep(entry, Unclear("it does not say which part: " + " or ".join(finding.parts), finding.name), said.place)
        return
    found = sides(finding, said.asked, entry.resource, holder, desk.index.base)
    if isinstance(found, Wrong):
        desk.refuse(entry, found, said.suffix, withdrawn=frame.withdrawn)
    elif isinstance(found, Unclear):
        desk.keep(entry, found, said.place, holder.get("code"))
    else:
        further = qualifiers(finding, said.asked, entry.resource, desk.index.base)
        for side in found:
            yield Said(said.asked, said.fields, said.place, said.suffix, side, further, said.source)


def _record(desk: Desk, entry: Entry, said: Said, frame: Frame) -> None:
    finding = desk.index.findings[said.asked.finding]
    where = frame.where or ("visit" if finding.untimed else None)
    if where is None:
        why = "neither an effective time nor an Encounter: it is not known of which visit it is"
        desk.keep(entry, Unclear(why, finding.name), said.place)
        return
    reading: dict[str, Any] = {**said.fields, **_printed(said)}
    if said.side:
        reading["side"] = said.side
    if frame.time is not None:
        reading["time"] = frame.time
    reading["status"] = frame.status
    if frame.reported:
        reading["reported"] = True
    if entry.origin:
        reading["origin"] = entry.origin
    reading["path"] = f"{entry.path}{said.place}"
    desk.record(entry, finding.name, reading, where, frame.moment)


def _printed(said: Said) -> dict[str, str]:
    """Return the number as it was printed, where its unit was read from print and not from a UCUM code."""
    given = said.source.get("valueQuantity") if isinstance(said.source, dict) else None
    if not isinstance(given, dict) or given.get("code") is not None or "unit" not in said.fields:
        return {}
    if given.get("unit") == said.fields["unit"]:
        return {}
    number = f"{given.get('comparator') or ''}{number_text(given.get('value'))}"
    return {"given": f"{number} {shown(given.get('unit') or '(no unit)')}"}


def _members(desk: Desk, entry: Entry, element: str = "hasMember") -> None:
    """Read the contained Observations that a panel or report names; they share its subject and time."""
    if entry.parent is not None or element not in entry.resource:
        return
    shared = {key: entry.resource[key] for key in _INHERITED if key in entry.resource}
    for link in items(entry.resource.get(element)):
        name = reference(link)
        found = desk.shelf.resolve(name, entry) if name.startswith("#") else None
        if found is not None and found.kind == "Observation":
            timed = any(key.startswith("effective") for key in found.resource)
            given = {k: v for k, v in shared.items() if not (timed and k.startswith("effective"))}
            read_observation(desk, Entry({**given, **found.resource}, found.path, parent=entry))


def read_report(desk: Desk, entry: Entry) -> None:
    """Read the results that a DiagnosticReport carries inside; those beside it are read by themselves."""
    if entry.resource.get("status") in WITHDRAWN:
        entry.mark(Fate.NOT_USED, "a report that was withdrawn")
        return
    _members(desk, entry, "result")
    entry.mark(Fate.NOT_USED, "a report; its results are read by themselves")
