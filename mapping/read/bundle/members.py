"""Members of a panel that are sent beside it: what they leave unsaid (when, of which visit) is said by their panel."""

from __future__ import annotations

from layette.mapping.read.bundle.entries import Entry, Inputs
from layette.mapping.read.bundle.parts import Resource, items, reference

SHARED = ("subject", "focus", "encounter", "effectiveDateTime", "effectivePeriod", "effectiveInstant")
_LINKS = {"Observation": "hasMember", "DiagnosticReport": "result"}

_WITHDRAWN = ("entered-in-error", "cancelled")


_DEEPEST = 5
"""Panels in panels: what the outermost says is told from one to the next."""


def share_with_members(inputs: Inputs) -> None:
    """Give each member what its panel says and itself does not; of two panels that differ, nothing is taken."""
    for _ in range(_DEEPEST):
        if not _share_once(inputs):
            return


def _share_once(inputs: Inputs) -> bool:
    """Give each member what its panel says; whether one of them is itself a panel that now says more."""
    panels: dict[str, list[Resource]] = {}
    members: dict[str, Entry] = {}
    for kind, element in _LINKS.items():
        for panel in inputs.of(kind):
            if panel.resource.get("status") in _WITHDRAWN:
                continue
            for link in items(panel.resource.get(element)):
                name = reference(link)
                member = inputs.resolve(name, panel) if name and not name.startswith("#") else None
                if member is not None and member.kind == "Observation" and member is not panel:
                    members[member.path], member.panel = member, panel.resource.get("code")
                    panels.setdefault(member.path, []).append(panel.resource)
    told = False
    for path, member in members.items():
        shared = _shared(member.resource, panels[path])
        member.resource = {**shared, **member.resource}
        told |= bool(shared) and "hasMember" in member.resource
    return told


def _shared(member: Resource, panels: list[Resource]) -> Resource:
    timed = any(key.startswith("effective") for key in member)
    keys = [key for key in SHARED if key not in member and not (timed and key.startswith("effective"))]
    given = [{key: panel[key] for key in keys if key in panel} for panel in panels]
    return given[0] if all(one == given[0] for one in given) else {}


def share_with_diagnoses(inputs: Inputs, encounters: frozenset[str]) -> None:
    """Give the Conditions that the Encounter of the visit names, and that name none, this Encounter."""
    for encounter in inputs.of("Encounter"):
        name = encounter.url or encounter.name
        if not encounters & {encounter.origin, encounter.url, encounter.name} or not name:
            continue
        links = (one.get("condition") for one in items(encounter.resource.get("diagnosis")))
        for link in (*links, *items(encounter.resource.get("reasonReference"))):
            found = inputs.resolve(reference(link), encounter) if reference(link) else None
            if found is not None and found.kind == "Condition" and "encounter" not in found.resource:
                found.resource = {**found.resource, "encounter": {"reference": name}}
