"""What other visits left behind: orders, guidance given, vaccines, and lists that are declared complete."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

from layette.mapping.codes import OWN, SYSTEMS, short_name
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, items, mapping, reference, shown, text
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import BadTimeError, parse
from layette.mapping.read.codes.amounts import Unclear
from layette.mapping.read.codes.sides import body_sides
from layette.mapping.read.resources.ledger import Ledger

_GUIDANCE = ("guide", "reassure", "avoid")
_GIVEN = ("given", "yes", "done", "present", "completed")
_NOT_GIVEN = ("not_given", "no", "not_done", "absent")
_LISTS = {
    "Observation": "observations",
    "ServiceRequest": "orders",
    "Communication": "guidance",
    "Immunization": "immunizations",
}
_PRIORITIES = ("routine", "urgent", "asap", "stat")


def read_request(ledger: Ledger, entry: Entry) -> None:
    """Read a ServiceRequest as an order that stands, or once stood, for one of the pack's targets."""
    resource = entry.resource
    if ledger.about(entry) is None:
        return
    if resource.get("status") == "entered-in-error":
        entry.mark(Outcome.NOT_USED, "it was entered in error")
        return
    key = _request_key(ledger, resource)
    target = _target(ledger, [resource.get("code")], requests=True) or _named_in(ledger, key)
    if target is None:
        ledger.keep(entry, Unclear("a request for nothing that the pack knows"), ".code", resource.get("code"))
        return
    timed = _time(ledger, entry, "authoredOn", check=False)
    if timed is None:
        return
    sides = body_sides(resource.get("bodySite"), ledger.index.base)
    priority = resource.get("priority")
    for side in _order_sides(sides):
        item = {"target": target, "side": side, "status": text(resource.get("status")) or "unknown"}
        item |= {"priority": priority if priority in _PRIORITIES else None, "time": timed[0], "request_key": key}
        ledger.add_history(entry, "orders", item)


def _order_sides(sides: set[str]) -> list[str | None]:
    if sides == {"both"}:
        return ["left", "right"]
    return [next(iter(sides), None)]


def _request_key(ledger: Ledger, resource: Resource) -> str | None:
    system = f"{ledger.index.base}/{OWN['request-key']}"
    found = (text(one.get("value")) for one in items(resource.get("identifier")) if one.get("system") == system)
    return next((value for value in found if value), None)


def _named_in(ledger: Ledger, key: str | None) -> str | None:
    """Return the target that a request key of ours spells out, if it spells out just one."""
    system = f"{ledger.index.base}/{OWN['targets']}"
    words = set(re.split(r"[^a-z0-9_\-]+", key)) if key else set()
    named = {name for word in words for name in ledger.index.targets.get((system, word), ())}
    return named.pop() if len(named) == 1 else None


def _target(ledger: Ledger, concepts: list[Any], *, requests: bool) -> str | None:
    """Return the target that concepts name: by our own code, else by a published code of only one target."""
    own = f"{ledger.index.base}/{OWN['targets']}"
    found = [key[:2] for concept in concepts for key in codings(concept)]
    for keys in ([k for k in found if k[0] == own], [k for k in found if k[0] != own]):
        names = {name for key in keys for name in ledger.index.targets.get(key, ()) if _suits(ledger, name, requests)}
        if names:
            return names.pop() if len(names) == 1 else None
    return None


def _suits(ledger: Ledger, name: str, requests: bool) -> bool:
    return requests == (ledger.index.kinds[name] not in _GUIDANCE)


def _time(ledger: Ledger, entry: Entry, key: str, *, check: bool) -> tuple[str | None] | None:
    """Return the time of something past as written (None if there is none), in a tuple; no tuple if it is wrong."""
    value = entry.resource.get(key)
    if key.endswith("Period"):
        value = mapping(value).get("end") or mapping(value).get("start")
    if value is None:
        return (None,)
    try:
        moment: date = parse(value, key)
    except BadTimeError as bad:
        ledger.refuse_time(entry, bad)
        return None
    wrong = ledger.check_time(moment, value, key, of_baby=True) if check else None
    if wrong is not None:
        ledger.refuse(entry, wrong)
        return None
    return (value,)


def read_communication(ledger: Ledger, entry: Entry) -> None:
    """Read a completed Communication as guidance given."""
    resource = entry.resource
    if ledger.about(entry) is None or not _completed(entry):
        return
    concepts = [resource.get("topic"), *items(resource.get("reasonCode")), *items(resource.get("category"))]
    topic = _target(ledger, concepts, requests=False)
    if topic is None:
        ledger.keep(entry, Unclear("a topic that the pack does not know"), ".topic", resource.get("topic"))
        return
    timed = _time(ledger, entry, "sent" if "sent" in resource else "received", check=True)
    if timed:
        ledger.add_history(entry, "guidance", {"topic": topic, "time": timed[0]})


def _completed(entry: Entry) -> bool:
    status = entry.resource.get("status")
    if status == "completed":
        return True
    entry.mark(Outcome.NOT_USED, f"its status is {shown(status)}, so it does not say that it was done")
    return False


def read_procedure(ledger: Ledger, entry: Entry) -> None:
    """Read a completed Procedure: guidance given, an order carried out, or a finding that it states."""
    resource = entry.resource
    if ledger.about(entry) is None or not _completed(entry):
        return
    key = "performedPeriod" if "performedPeriod" in resource else "performedDateTime"
    timed = _time(ledger, entry, key, check=True)
    if timed is None:
        return
    code = resource.get("code")
    topic, target = _target(ledger, [code], requests=False), _target(ledger, [code], requests=True)
    if topic:
        ledger.add_history(entry, "guidance", {"topic": topic, "time": timed[0]})
    elif target:
        for side in _order_sides(body_sides(resource.get("bodySite"), ledger.index.base)):
            ledger.add_history(
                entry, "orders", {"target": target, "side": side, "status": "completed", "time": timed[0]}
            )
    if not _stated(ledger, entry, code, timed[0], key) and not topic and not target:
        ledger.keep(entry, Unclear("a procedure that the pack does not know"), ".code", code)


def read_immunization(ledger: Ledger, entry: Entry) -> None:
    """Read an Immunization: history, and a finding where the dictionary has the vaccine's code."""
    resource = entry.resource
    if ledger.about(entry, "patient") is None:
        return
    status = resource.get("status")
    if status == "entered-in-error":
        entry.mark(Outcome.NOT_USED, "it was entered in error")
        return
    timed = _time(ledger, entry, "occurrenceDateTime", check=True)
    if timed is None:
        return
    code = resource.get("vaccineCode")
    finding = _stated(ledger, entry, code, timed[0], "occurrenceDateTime", done=status == "completed")
    target, name = _target(ledger, [code], requests=True), finding or _published_name(ledger, code)
    if name is None and target is None:
        ledger.keep(entry, Unclear("a vaccine without a code that is known"), ".vaccineCode", code)
    elif status == "completed" and not finding and target:
        ledger.add_history(entry, "orders", {"target": target, "status": "completed", "time": timed[0]})
    elif status == "completed":
        ledger.add_history(entry, "immunizations", {"code": name, "time": timed[0]})
    elif not finding:
        entry.mark(Outcome.NOT_USED, "the vaccine was not given")


def _published_name(ledger: Ledger, code: object) -> str | None:
    """Return a CVX code that the pack does not use as ``cvx:NN``: the dose is on record all the same."""
    return next((f"{short_name(s)}:{c}" for s, c, _ in codings(code) if s == SYSTEMS["cvx"]), None)


def _stated(ledger: Ledger, entry: Entry, code: object, time: str | None, key: str, *, done: bool = True) -> str | None:
    """Record the findings that a code of something done states; return the name of the last one."""
    named = None
    for meaning in ledger.index.meanings(codings(code)):
        finding = ledger.index.findings[meaning.finding]
        if finding.sides or not finding.sheet.values:
            continue
        usual = set(finding.sheet.values) & set(_GIVEN if done else _NOT_GIVEN)
        values = set(meaning.values) if done and meaning.values else usual
        value = finding.sheet.together(values) if values else None
        fields = {"value": value} if value else (None if done else {"absent": "not-performed"})
        if fields is None:
            continue
        named = finding.name
        _record(ledger, entry, named, fields, time, key)
    return named


def _record(ledger: Ledger, entry: Entry, finding: str, fields: dict[str, str], time: str | None, key: str) -> None:
    moment = parse(time) if time else None
    where = ledger.belongs(entry.resource, entry, moment) or "visit"
    origin = {"origin": entry.origin} if entry.origin else {}
    reading = {**fields, **({"time": time} if time else {}), "status": "final", **origin, "path": f"{entry.path}.{key}"}
    ledger.record(entry, finding, reading, where, moment)


def read_list(ledger: Ledger, entry: Entry) -> None:
    """Read a List: a current snapshot about the newborn declares its kind of history complete."""
    resource = entry.resource
    if ledger.about(entry) is None:
        return
    if resource.get("mode") != "snapshot" or resource.get("status") != "current":
        entry.mark(Outcome.NOT_USED, "a list that is no current snapshot declares nothing complete")
        return
    kinds = _kinds_of_items(ledger, entry) | _kinds_named(ledger, resource)
    if len(kinds) != 1 or None in kinds:
        ledger.keep(
            entry, Unclear("a list whose items are of several kinds, or not all in the input"), "", resource.get("code")
        )
        return
    ledger.complete |= {kind for kind in kinds if kind}
    entry.mark(Outcome.USED)


def _kinds_of_items(ledger: Ledger, entry: Entry) -> set[str | None]:
    """Return the kinds of history in a list; None among them for an item that is not in the input."""
    found: set[str | None] = set()
    for one in items(entry.resource.get("entry")):
        item = ledger.inputs.resolve(reference(one.get("item")), entry)
        found.add(_LISTS.get(item.kind) if item else None)
    return found


def _kinds_named(ledger: Ledger, resource: Resource) -> set[str | None]:
    system = f"{ledger.index.base}/{OWN['lists']}"
    named = {code for s, code, _ in codings(resource.get("code")) if s == system} & set(_LISTS.values())
    return set(named)
