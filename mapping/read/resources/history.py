"""What other visits left behind: guidance given, what was done, vaccines, and lists that are declared complete."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from layette.mapping.codes import OWN, SYSTEMS, short_name
from layette.mapping.read.bundle.entries import Entry
from layette.mapping.read.bundle.parts import Resource, codings, items, reference, shown
from layette.mapping.read.bundle.result import Outcome
from layette.mapping.read.bundle.times import parse
from layette.mapping.read.codes.amounts import Unclear
from layette.mapping.read.codes.sides import body_sides
from layette.mapping.read.resources.ledger import Ledger
from layette.mapping.read.resources.orders import superseded
from layette.mapping.read.resources.statements import keep_messages, keep_procedure
from layette.mapping.read.resources.targets import order_sides, target_of, time_of

_GIVEN = ("given", "yes", "done", "present", "completed")
_NOT_GIVEN = ("not_given", "no", "not_done", "absent")
_LISTS = {
    "Observation": "observations",
    "ServiceRequest": "orders",
    "Communication": "guidance",
    "Immunization": "immunizations",
}


def read_communication(ledger: Ledger, entry: Entry) -> None:
    """Read a completed Communication as guidance given, with every topic that it tells."""
    resource = entry.resource
    if ledger.about(entry) is None or not _completed(entry):
        return
    concepts = [resource.get("topic"), *items(resource.get("reasonCode")), *items(resource.get("category"))]
    named = [target_of(ledger, [concept], told=True) for concept in concepts]
    topics = _each_once([*named, *_topics_of_payloads(ledger, resource)]) or _topics_asked_for(ledger, entry)
    if not topics:
        ledger.keep(entry, Unclear("a topic that the pack does not know"), ".topic", resource.get("topic"))
        keep_messages(ledger, entry)
        return
    _told(ledger, entry, topics, "sent" if "sent" in resource else "received")


def read_communication_request(ledger: Ledger, entry: Entry) -> None:
    """Read a request of ours to tell the family as guidance given once it is completed; before that as nothing."""
    topics = _each_once(_topics_of_payloads(ledger, entry.resource))
    status = entry.resource.get("status")
    if topics and status == "revoked" and not superseded(ledger, entry.resource):
        entry.mark(Outcome.NOT_USED, "somebody declined to tell it")
        what = f"a request to tell the family ({', '.join(topics)}) was declined, which is not told"
        ledger.notices.append(
            f"{entry.path}: {what}: it is owed as before; a server may take a new request for this one"
        )
    elif not topics or status != "completed":
        entry.mark(Outcome.NOT_USED, "a request to tell somebody something does not say that it was told")
    elif ledger.about(entry) is not None:
        _told(ledger, entry, topics, "authoredOn")


def _told(ledger: Ledger, entry: Entry, topics: Iterable[str], key: str) -> None:
    timed = time_of(ledger, entry, key, check=True)
    for topic in topics if timed else ():
        ledger.add_history(entry, "guidance", {"topic": topic, "time": timed[0] if timed else None})


def _topics_of_payloads(ledger: Ledger, resource: Resource) -> Iterator[str | None]:
    """Yield the topics that payloads carry in our extension: as its code, or as a concept."""
    own = f"{ledger.index.base}/{OWN['targets']}"
    url = f"{ledger.index.base}/{OWN['payload-topic']}"
    for payload in items(resource.get("payload")):
        for extension in items(payload.get("extension")):
            if extension.get("url") == url:
                code = {"coding": [{"system": own, "code": extension.get("valueCode")}]}
                yield target_of(ledger, [code, extension.get("valueCodeableConcept")], told=True)


def _topics_asked_for(ledger: Ledger, entry: Entry) -> list[str]:
    """Return the topics of the requests that a Communication carries out, which it need not repeat."""
    asked = [ledger.inputs.resolve(reference(one), entry) for one in items(entry.resource.get("basedOn"))]
    return _each_once(topic for one in asked if one for topic in _topics_of_payloads(ledger, one.resource))


def _each_once(names: Iterable[str | None]) -> list[str]:
    return list(dict.fromkeys(name for name in names if name))


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
    timed = time_of(ledger, entry, key, check=True)
    if timed is None:
        return
    code = resource.get("code")
    topic, target = target_of(ledger, [code], told=True), target_of(ledger, [code], told=False)
    if topic:
        ledger.add_history(entry, "guidance", {"topic": topic, "time": timed[0]})
    elif target:
        for side in order_sides(body_sides(resource.get("bodySite"), ledger.index.base)):
            ledger.add_history(
                entry, "orders", {"target": target, "side": side, "status": "completed", "time": timed[0]}
            )
    if not _stated(ledger, entry, code, timed[0], key) and not topic and not target:
        keep_procedure(ledger, entry, parse(timed[0]) if timed[0] else None)


def read_immunization(ledger: Ledger, entry: Entry) -> None:
    """Read an Immunization: history, and a finding where the dictionary has the vaccine's code."""
    resource = entry.resource
    if ledger.about(entry, "patient") is None:
        return
    status = resource.get("status")
    if status == "entered-in-error":
        entry.mark(Outcome.NOT_USED, "it was entered in error")
        return
    timed = time_of(ledger, entry, "occurrenceDateTime", check=True)
    if timed is None:
        return
    code = resource.get("vaccineCode")
    finding = _stated(ledger, entry, code, timed[0], "occurrenceDateTime", done=status == "completed")
    target, name = target_of(ledger, [code], told=False), finding or _published_name(ledger, code)
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
