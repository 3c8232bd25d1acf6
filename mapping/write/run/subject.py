"""Whom and what the output is about: the newborn, the encounter, and the input that goes along."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from layette.mapping.read.needed import UNREAD, UNREAD_ELEMENTS
from layette.mapping.validate import errors, validate
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Resource
from layette.mapping.write.run.origins import references

_UNNAMED = "the newborn of this visit, given without an identifier"


def subject(out: Output) -> Resource:
    """Return the newborn as given: the same reference, else the identifier, else words alone."""
    patient = out.assessment.patient
    pointed = point(out, patient) if patient else None
    if pointed:
        return pointed
    if out.identifiers:
        return {"type": "Patient", "identifier": dict(out.identifiers[0])}
    remark = "The Patient has no identifier, so no entry is made for it; link the requests to the newborn by hand."
    if remark not in out.remarks:
        out.remarks.append(remark)
    return {"type": "Patient", "display": _UNNAMED}


def about(out: Output, *, encounter: bool = True) -> Resource:
    """Return the elements that say whom a resource is about: subject, and encounter where there is one."""
    name = out.assessment.encounter if encounter else None
    visit = point(out, name) if name else None
    return {"subject": subject(out)} | ({"encounter": visit} if visit else {})


def point(out: Output, reference: str) -> Resource | None:
    """Return a Reference as given; a `urn:` brings its resource along. None if nothing could be resolved."""
    if reference.startswith("#"):
        return None
    if not reference.startswith("urn:") or reference in out.made:
        return {"reference": reference}
    resource = out.sources.get(reference)
    if resource is None or not _carried(out, reference, resource):
        return None
    return {"reference": reference}


def _carried(out: Output, reference: str, original: Mapping[str, Any]) -> bool:
    resource = _copy(original)
    resource.pop("id", None)
    _leave_out_what_is_wrong(out, resource)
    own = _own_identifier(resource)
    if own is None and resource["resourceType"] == "Patient":
        return False
    if own is None:
        own = {"system": out.system(keys.INPUT_KEY), "value": keys.digest(out.patient_key, _steady(resource))}
        _add_identifier(resource, own)
    out.place(reference, resource, keys.token("identifier", own["system"], own["value"]))
    for link in references(resource):
        if link["reference"].startswith("urn:") and point(out, link["reference"]) is None:
            link.setdefault("display", _UNNAMED if link["reference"] == out.assessment.patient else "not in the input")
            del link["reference"]
    return True


def _leave_out_what_is_wrong(out: Output, resource: Resource) -> None:
    """Take away what is not valid and nothing needs: it was said on reading, and nobody would take the whole."""
    if UNREAD_ELEMENTS.isdisjoint(resource):
        return
    kind = resource["resourceType"]
    unfit: set[int] = set()
    for told in errors(validate(resource)):
        wrong = UNREAD.match(told.path.removeprefix(kind))
        if wrong is None:
            continue
        number, element = wrong["number"], wrong["element"] or "identifier"
        if number is not None and not wrong["extension"]:
            unfit.add(int(number))
        else:
            holder = resource if number is None else resource["identifier"][int(number)]
            if holder.pop(element if number is None else "extension", None) is None:
                continue
        out.remarks.append(f"{kind}{wrong[0]}, as it came, is not valid and does not go along.")
    if unfit and "identifier" in resource:
        resource["identifier"] = [one for place, one in enumerate(resource["identifier"]) if place not in unfit]
        if not resource["identifier"]:
            del resource["identifier"]


def _own_identifier(resource: Resource) -> Resource | None:
    names = resource.get("identifier")
    listed = names if isinstance(names, list) else [names]
    for one in listed:
        if isinstance(one, Mapping) and one.get("system") and one.get("value"):
            return dict(one)
    return None


_SINGLE = ("QuestionnaireResponse", "Bundle", "Composition")


def _add_identifier(resource: Resource, own: Resource) -> None:
    if resource["resourceType"] in _SINGLE:
        resource["identifier"] = own
    else:
        resource.setdefault("identifier", []).append(own)


def _steady(resource: Resource) -> Resource:
    """Return the content without `urn:` references, which a sender may draw anew for every message."""
    out: Resource = _copy(resource)
    for link in references(out):
        if link["reference"].startswith("urn:"):
            link["reference"] = "urn"
    return out


def _copy(value: Any) -> Any:
    """Return JSON with new lists and mappings; what stands in them never changes."""
    if type(value) is str:  # the most frequent first
        return value
    if isinstance(value, list):
        return [_copy(inner) for inner in value]
    if type(value) is dict or isinstance(value, Mapping):
        return {key: inner if type(inner) is str else _copy(inner) for key, inner in value.items()}
    return value
