"""Observations: what is asked by the code, what is answered by the value, of whom, where and when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, described, items, reference, shown
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import BadTimeError, effective, effective_key
from layette.mapping.read.codes.amounts import RuledOut, Unclear, Wrong, unit_of
from layette.mapping.read.codes.answers import as_set
from layette.mapping.read.codes.index import CodeMeaning, Finding
from layette.mapping.read.codes.named import told_of, told_under
from layette.mapping.read.codes.sides import qualifiers, sides
from layette.mapping.read.codes.values import answer, has_value
from layette.mapping.read.resources.beside import (
    asked_for,
    came_later,
    is_reported,
    keep_notes,
    printed,
    said_beside,
    tagged,
)
from layette.mapping.read.resources.judgments import is_judgment, read_judgment
from layette.mapping.read.resources.ledger import AFTER, NOTHING_TOLD, WITHDRAWN, Ledger, Told, Where
from layette.mapping.read.resources.panels import Said, together
from layette.mapping.read.resources.unplaced import told_here, told_of_unknown

STATUSES = ("registered", "preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error", "unknown")
_UNSETTLED = ("registered", "preliminary")
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

    def counts(self, finding: Finding | None = None) -> bool:
        """Whether what is said counts at this visit, so that none of it may be passed over in silence.

        A result or a birth fact counts at any visit.
        """
        carried = finding is not None and finding.shape.carries_over
        return not self.withdrawn and (self.where != "history" or carried)


def read_observation(ledger: Ledger, entry: Entry, seen: set[str] | None = None) -> None:
    """Read one Observation with its components, and the Observations that it contains as members."""
    resource = entry.resource
    if is_computed(ledger, resource):
        entry.mark(Outcome.NOT_USED, "it was computed by Layette, not observed")
        return
    if is_judgment(ledger, resource):
        read_judgment(ledger, entry)
        return
    person = ledger.about(entry)
    if person is None and ledger.of_nobody(entry) and any(told := told_here(ledger, entry)):
        ledger.keep(entry, Unclear(entry.why), ".subject", resource.get("code"), told=told, holder=resource)
    frame = _frame(ledger, entry, person) if person else None
    if frame is None:
        return
    for said in together(_all_said(ledger, entry, frame)):
        _record(ledger, entry, said, frame)
    if frame.counts():
        keep_notes(ledger, entry)
    read_members(ledger, entry, "hasMember", set() if seen is None else seen)


def is_computed(ledger: Ledger, resource: Resource) -> bool:
    """Whether a resource carries our tag for what rules computed."""
    return tagged(ledger, resource, "computed")


def _frame(ledger: Ledger, entry: Entry, person: str) -> Frame | None:
    resource = entry.resource
    status = resource.get("status")
    if status not in STATUSES:
        ledger.refuse(
            entry, Wrong("structure", "no status of an Observation", shown(status), ", ".join(STATUSES)), ".status"
        )
        return None
    withdrawn = status in WITHDRAWN
    try:
        time, moment = effective(resource)
    except BadTimeError as bad:
        ledger.refuse_time(entry, bad, withdrawn=withdrawn, told=told_here(ledger, entry))
        return None
    wrong = ledger.check_time(moment, time, effective_key(resource), of_baby=person == "baby")
    if wrong is not None:
        meant = asked_for(ledger, resource)
        if wrong.message != AFTER and meant and all(finding.person == "mother" for finding in meant):
            person = "mother"
        elif not (wrong.message == AFTER and came_later(ledger, meant, moment)):
            _out_of_time(ledger, entry, wrong, meant, withdrawn=withdrawn)
            return None
    where = ledger.belongs(resource, entry, moment)
    return Frame(where, time, moment, str(status), is_reported(ledger, entry), withdrawn, person)


def _out_of_time(ledger: Ledger, entry: Entry, wrong: Wrong, meant: list[Finding], *, withdrawn: bool) -> None:
    """Refuse what lies outside the time from birth to the visit; what nobody needs to know stops nothing."""
    if meant or withdrawn or (wrong.message == AFTER and ledger.moment.named):
        ledger.refuse(entry, wrong, withdrawn=withdrawn)
    else:
        told = told_here(ledger, entry) if wrong.message == AFTER else NOTHING_TOLD
        unclear = Unclear(f"an unknown code, and {wrong.message}")
        ledger.keep(entry, unclear, ".code", entry.resource.get("code"), told=told, holder=entry.resource)


def _all_said(ledger: Ledger, entry: Entry, frame: Frame) -> Iterator[Said]:
    resource = entry.resource
    speaks = has_value(resource)
    components = list(items(resource.get("component")))
    meanings = _meanings(ledger, entry, resource, "", frame)
    if speaks or not (components or "hasMember" in resource):
        yield from _said(ledger, entry, resource, "", meanings, frame)
    pieces = _pounds_and_ounces(ledger, meanings, [resource, *components])
    for number, component in enumerate(components):
        suffix = f".component[{number}]"
        inner = meanings if id(component) in pieces else _meanings(ledger, entry, component, suffix, frame)
        yield from _said(ledger, entry, component, suffix, inner, frame)
    if not components and "hasMember" in resource and not speaks:
        entry.mark(Outcome.NOT_USED, "a panel; its members are read by themselves")


def _pounds_and_ounces(ledger: Ledger, meanings: tuple[CodeMeaning, ...], holders: list[Resource]) -> set[int]:
    """Return the components without a code that give pounds or ounces of what their Observation asks.

    Only both together are a weight: of seven pounds and something that is not understood nobody knows the weight.
    """
    units = ledger.index.findings[meanings[0].finding].units if meanings else None
    if units is None or "[oz_av]" not in units.accepts:
        return set()
    names = {meaning.finding for meaning in meanings}
    weighed = [holder for holder in holders if isinstance(holder.get("valueQuantity"), dict)]
    fitting = [h for h in weighed if names >= {m.finding for m in ledger.index.meanings(codings(h.get("code")))}]
    given_units = [unit_of(holder["valueQuantity"], units) for holder in fitting]
    both = len(given_units) == 2 and {"[lb_av]", "[oz_av]"} == {unit for unit in given_units if isinstance(unit, str)}
    return {id(holder) for holder in fitting if both and not codings(holder.get("code"))}


def _meanings(ledger: Ledger, entry: Entry, holder: Resource, suffix: str, frame: Frame) -> tuple[CodeMeaning, ...]:
    """Return what a code asks of this person; nothing where two codings ask for different findings."""
    meanings = ledger.index.meanings(codings(holder.get("code")))
    fitting = tuple(a for a in meanings if a.plainly or ledger.index.findings[a.finding].person == frame.person)
    if meanings and not fitting:
        other = ledger.index.findings[meanings[0].finding]
        why = f"this is asked of the {other.person}, and the resource is about the {frame.person}; set subject or focus"
        counts = frame.counts(other) and has_value(holder)
        named = told_under(other, meanings[0], holder) if counts else ""
        ledger.keep(entry, Unclear(why), f"{suffix}.code", holder.get("code"), told=Told(named), holder=holder)
    names = {a.finding for a in fitting} if len(fitting) > 1 else set()
    if len(names) > 1 and not _one_coding(ledger, holder, names):
        wrong = Wrong("contradiction", "codes of different findings", ", ".join(sorted(names)), "codes of one finding")
        ledger.refuse(entry, wrong, f"{suffix}.code", withdrawn=frame.withdrawn)
        return ()
    if not meanings and has_value(holder):
        why = "a code that is not in the dictionary" if codings(holder.get("code")) else "no code"
        _keep_unknown(ledger, entry, holder, suffix, why, frame)
    return fitting


def _keep_unknown(ledger: Ledger, entry: Entry, holder: Resource, suffix: str, why: str, frame: Frame) -> None:
    panel = entry.panel if not suffix else None if has_value(entry.resource) else entry.resource.get("code")
    told = told_of_unknown(ledger, holder, frame.person, panel) if frame.counts() else NOTHING_TOLD
    ledger.keep(entry, Unclear(why), f"{suffix}.code", holder.get("code"), told=told, holder=holder)


def _one_coding(ledger: Ledger, holder: Resource, names: set[str]) -> bool:
    """Whether a single coding stands for all of these findings."""
    return any(names <= {a.finding for a in ledger.index.meanings([coding])} for coding in codings(holder.get("code")))


def _said(
    ledger: Ledger, entry: Entry, holder: Resource, suffix: str, meanings: tuple[CodeMeaning, ...], frame: Frame
) -> Iterator[Said]:
    """Yield what is said; of several findings that share a code, those that understand the answer."""
    if not meanings:
        if not suffix and not has_value(holder):
            _keep_unknown(ledger, entry, holder, suffix, "a code that is not in the dictionary, without a value", frame)
        return
    answers = [(meaning, *answer(holder, meaning, ledger.index.findings[meaning.finding])) for meaning in meanings]
    understood = [(meaning, fields, place) for meaning, fields, place in answers if isinstance(fields, dict)]
    if not understood:
        _not_said(ledger, entry, answers[0], suffix, holder, frame)
    for meaning, fields, place in understood:
        yield from _placed(
            ledger, entry, holder, Said(meaning, fields, f"{suffix}{place}", suffix, source=holder), frame
        )


def _not_said(
    ledger: Ledger, entry: Entry, answered: tuple[CodeMeaning, object, str], suffix: str, holder: Resource, frame: Frame
) -> None:
    meaning, found, place = answered[0], answered[1], f"{suffix}{answered[2]}"
    if isinstance(found, Wrong):
        ledger.refuse(entry, found, place, withdrawn=frame.withdrawn)
    elif isinstance(found, RuledOut):
        entry.mark(Outcome.NOT_USED, found.why)
    elif isinstance(found, Unclear):
        code, said = described(holder.get("code"))
        unclear = Unclear(found.why, found.code or code, found.text or said)
        counts = frame.counts(ledger.index.findings[meaning.finding])
        ledger.keep(entry, unclear, place, told=Told(meaning.finding if counts else ""))


def _placed(ledger: Ledger, entry: Entry, holder: Resource, said: Said, frame: Frame) -> Iterator[Said]:
    finding = ledger.index.findings[said.meaning.finding]
    if said.meaning.qualifier:
        yield said
        return
    named = told_of(finding, said.fields) if frame.counts(finding) else ""
    if finding.parts and not said.meaning.part and "absent" not in said.fields:
        unclear = Unclear("it does not say which part: " + " or ".join(finding.parts), finding.name)
        ledger.keep(entry, unclear, said.place, told=Told(named), holder=holder)
        return
    meant = sides(finding, said.meaning, entry.resource, holder, ledger.index.base)
    if isinstance(meant, Wrong):
        ledger.refuse(entry, meant, said.suffix, withdrawn=frame.withdrawn)
    elif isinstance(meant, Unclear) and _needs_a_look(finding, said):
        fields = {"value": finding.shape.not_understood, "given": f"{said.fields['value']}, no side".replace("_", " ")}
        yield from (
            Said(said.meaning, fields, said.place, said.suffix, each, {}, said.source) for each in finding.sides
        )
    elif isinstance(meant, Unclear):
        ledger.keep(entry, meant, said.place, holder.get("code"), told=Told(named), holder=holder)
    else:
        further = qualifiers(finding, said.meaning, entry.resource, ledger.index.base)
        for side in meant:
            yield Said(said.meaning, said.fields, said.place, said.suffix, side, further, said.source)


def _needs_a_look(finding: Finding, said: Said) -> bool:
    """Whether an answer without a side is one that nobody may pass over."""
    value = said.fields.get("value")
    return bool(finding.shape.not_understood and value) and value not in as_set(finding.shape.expected)


def _record(ledger: Ledger, entry: Entry, said: Said, frame: Frame) -> None:
    finding = ledger.index.findings[said.meaning.finding]
    values = finding.sheet.possible(str(said.fields.get("value"))) if frame.where == "history" else set()
    happened = not frame.withdrawn and ledger.just_happened(finding, values, frame.moment)
    where = "visit" if happened else frame.where or ("visit" if finding.untimed else None)
    if where is None:
        why = "neither an effective time nor an Encounter: it is not known of which visit it is"
        named = told_of(finding, said.fields) if frame.counts(finding) else ""
        ledger.keep(entry, Unclear(why, finding.name), said.place, told=Told(named), holder=said.source)
        return
    reading: dict[str, Any] = {**said.fields, **printed(said.fields, said.source)}
    if said.side:
        reading["side"] = said.side
    if frame.time is not None:
        reading["time"] = frame.time
    reading["status"] = frame.status
    if frame.reported:
        reading["reported"] = True
    reading |= said_beside(ledger, entry, finding.name)
    if entry.origin:
        reading["origin"] = entry.origin
    reading["path"] = f"{entry.path}{said.place}"
    ledger.record(entry, finding.name, reading, where, frame.moment)


def read_members(ledger: Ledger, entry: Entry, element: str, seen: set[str]) -> None:
    """Read the contained Observations that a panel or report names, each once; they share its subject and time."""
    if element not in entry.resource:
        return
    shared = {key: entry.resource[key] for key in _INHERITED if key in entry.resource}
    for link in items(entry.resource.get(element)):
        name = reference(link)
        member = ledger.inputs.resolve(name, entry) if name.startswith("#") else None
        if member is not None and member.kind == "Observation" and member.path not in seen:
            seen.add(member.path)
            timed = any(key.startswith("effective") for key in member.resource)
            inherited = {k: v for k, v in shared.items() if not (timed and k.startswith("effective"))}
            own = {**inherited, **member.resource, **_no_more_settled(entry, member.resource)}
            inside = Entry(own, member.path, parent=entry.parent or entry)
            inside.panel = entry.resource.get("code")
            read_observation(ledger, inside, seen)


def _no_more_settled(panel: Entry, member: Resource) -> Resource:
    """Return the status of what a panel contains, where its own says more than that of the panel can."""
    status, own = panel.resource.get("status"), member.get("status", "")
    if panel.kind != "Observation" or own in WITHDRAWN or status not in (*WITHDRAWN, *_UNSETTLED):
        return {}
    return {"status": status} if status in WITHDRAWN or own not in _UNSETTLED else {}
