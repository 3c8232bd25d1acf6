"""Codes as they go out: the verified ones of published systems, one of our own, and always the words."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import Any

from layette.engine.answer.shapes.proposed import Code
from layette.mapping import codes
from layette.mapping.write.run import keys
from layette.mapping.write.run.context import Output, Resource

UCUM = codes.uri("ucum")

SIDES: Mapping[str, tuple[str, str]] = {"left": ("7771000", "Left"), "right": ("24028007", "Right")}
"""Laterality in SNOMED CT (qualifier values, verified in the Global Patient Set)."""

CATEGORIES: Mapping[str, tuple[str, str]] = {
    "referral": ("3457005", "Patient referral"),
    "laboratory": ("108252007", "Laboratory procedure"),
    "imaging": ("363679005", "Imaging"),
    "education": ("409073007", "Education"),
}
"""Request categories that have a verified SNOMED CT code; the others go out as text and our own code."""


def coding(system: str, code: str, display: str | None = None) -> Resource:
    """Return a Coding; the system may be a pack's short name."""
    if display:
        return {"system": codes.uri(system), "code": code, "display": display}
    return {"system": codes.uri(system), "code": code}


def published(named: Mapping[str, Any]) -> list[Resource]:
    """Return the verified Codings of a pack's ``codes`` (short system name -> code, or a list of codes)."""
    lists = [(system, (value,) if isinstance(value, str) else value) for system, value in named.items()]
    found = (_published(system, code) for system, several in lists for code in several)
    return [dict(one) for one in found if one is not None]


def codes_of(named: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Yield system and code of what `published` returns, where no words are asked for."""
    for system, value in named.items():
        for code in (value,) if isinstance(value, str) else value:
            found = _published(system, code)
            if found is not None:
                yield found["system"], found["code"]


@lru_cache(maxsize=10_000)
def _published(system: str, code: str) -> Resource | None:
    """Return the Coding of a verified code, None of any other."""
    return coding(system, code, codes.display(system, code)) if codes.is_verified(system, code) else None


def verified(given: Iterable[Code]) -> list[Resource]:
    """Return the Codings that may go out: a code that nobody read in a source stays at home."""
    fit = [one for one in given if codes.is_verified(one.system, one.code)]
    return [coding(one.system, one.code, one.display or codes.display(one.system, one.code)) for one in fit]


def concept(codings: Iterable[Resource], text: str) -> Resource:
    """Return a CodeableConcept without repeats, of codes or of words; the words are always there."""
    found: dict[tuple[str, str], Resource] = {}
    for one in codings:
        key = one["system"], one["code"]
        if key not in found:
            found[key] = {part: told for part, told in one.items() if part != "display" or told != text}
    return {"coding": [*found.values()], "text": text} if found else {"text": text}


def target(out: Output, name: str, label: str, given: Iterable[Code]) -> Resource:
    """Return what a request asks for."""
    ours = coding(out.system(keys.TARGETS), name, label)
    return concept([*verified(given), ours], label)


def category(out: Output, name: str) -> Resource:
    """Return a request's category."""
    ours = coding(out.system(keys.CATEGORIES), name)
    theirs = [coding("snomed", *CATEGORIES[name])] if name in CATEGORIES else []
    return concept([*theirs, ours], name)


def performer(out: Output, name: str) -> Resource:
    """Return who is to do it, by our own code: no published code of a specialty has been verified."""
    return concept([coding(out.system(keys.PERFORMERS), slug(name), name)], name)


def slug(name: str) -> str:
    """Return a name as a code: lower case, a hyphen for what is no letter or digit."""
    return "-".join(re.findall(r"[a-z0-9]+", name.lower()))


def side(name: str) -> Resource:
    """Return a side of the body."""
    code, display = SIDES[name]
    return concept([coding("snomed", code, display)], name)


def side_coding(name: str) -> Resource:
    """Return the code of a side, without its display."""
    return coding("snomed", SIDES[name][0])


def tag(out: Output, code: str, display: str) -> Resource:
    """Return a tag of ours."""
    return coding(out.system(keys.TAGS), code, display)


def computed(out: Output) -> Resource:
    """Return the meta of a value that nobody observed: it was computed from others."""
    return {"tag": [tag(out, "computed", "Computed by rules, not observed")]}


RESTRICTED: Resource = {
    "system": "http://terminology.hl7.org/CodeSystem/v3-Confidentiality",
    "code": "R",
    "display": "restricted",
}
"""The label on everything that is about the mother."""


def label_mother(resource: Resource) -> None:
    """Put the security label of the mother's data on a resource."""
    resource.setdefault("meta", {})["security"] = [dict(RESTRICTED)]
