"""The R4 vital-sign profiles, by the table of their fixed codes, units and cardinalities.

A profile binds an Observation that claims it in ``meta.profile``, or that is a vital sign by category and carries
the profile's LOINC code. One that carries the code alone, as a range of weights must, is told with a warning.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache

from layette.mapping.fhir.types import table
from layette.mapping.validate.rules.issue import At, Issue, issue
from layette.mapping.validate.rules.registry import UCUM, Node, coded, has, number, objects, string

_BASE = "http://hl7.org/fhir/StructureDefinition/"
_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
LOINC = "http://loinc.org"


@dataclass(frozen=True, slots=True)
class Profile:
    """One profile: its fixed LOINC code (empty for the general one) and the UCUM codes that it allows."""

    name: str
    code: str
    units: tuple[str, ...]


@cache
def profiles() -> Mapping[str, Profile]:
    """Return profile name -> profile."""
    sets = {row["value_set"]: tuple(row["codes"].split()) for row in table("vital_sign_units.csv")}
    rows: dict[str, list[dict[str, str]]] = {}
    for row in table("vital_sign_profiles.csv"):
        rows.setdefault(row["profile"], []).append(row)
    return {name: _profile(name, own, sets) for name, own in rows.items()}


def _profile(name: str, rows: list[dict[str, str]], sets: Mapping[str, tuple[str, ...]]) -> Profile:
    code = ""
    units: tuple[str, ...] = ()
    for row in rows:
        if row["element_id"].startswith("Observation.code.coding:") and row["element_id"].endswith(".code"):
            code = row["fixed"]
        if row["element_id"] == "Observation.value[x]:valueQuantity.code":
            units = (row["fixed"],) if row["fixed"] else sets[row["binding"].partition("|")[0]]
    return Profile(name, code, units)


@cache
def _by_code() -> Mapping[str, str]:
    return {profile.code: name for name, profile in profiles().items() if profile.code}


def vital_sign_issues(node: Node, at: At) -> Iterator[Issue]:
    """Yield where an Observation falls short of the vital-sign profiles that bind it."""
    by_code = _fitting(node)
    claimed = set(_claimed(node)) if "meta" in node else set()
    if not by_code and not claimed:
        return
    vital = coded(node, "category", _CATEGORY, "vital-signs")
    bound = [profiles()[name] for name in sorted(by_code | claimed if vital else claimed)]
    if bound:
        yield from _general_issues(node, at, vital)
    elif not vital:
        message = f"R4 has this code for vital signs, which have the category vital-signs of {_CATEGORY}."
        yield issue((at, "category", -1), "vital-sign", message, "warning")
    for profile in bound:
        yield from _own_issues(node, at, profile)


def _fitting(node: Node) -> set[str]:
    """Return the names of the profiles that have a LOINC code of this Observation."""
    names = _by_code()
    codings = (coding for concept in objects(node, "code") for coding in objects(concept, "coding"))
    codes = (string(coding, "code") for coding in codings if coding.get("system") == LOINC)
    return {names[code] for code in codes if code in names}


def _claimed(node: Node) -> list[str]:
    found = []
    for meta in objects(node, "meta"):
        listed = meta.get("profile")
        for url in listed if isinstance(listed, list) else []:
            name = url.partition("|")[0].removeprefix(_BASE) if isinstance(url, str) else ""
            if name in profiles():
                found.append(name)
    return found


def _general_issues(node: Node, at: At, vital: bool) -> Iterator[Issue]:
    if not vital:
        yield issue((at, "category", -1), "vital-sign", f"A vital sign has the category vital-signs of {_CATEGORY}.")
    if not has(node, "subject"):
        yield issue((at, "subject", -1), "vital-sign", "A vital sign says whose it is; give subject.")
    if not has(node, "effectiveDateTime") and not has(node, "effectivePeriod"):
        yield issue((at, "effective[x]", -1), "vital-sign", "A vital sign has effectiveDateTime or effectivePeriod.")
    if 0 < len(string(node, "effectiveDateTime")) < 8:
        yield issue((at, "effectiveDateTime", -1), "vital-sign", "The time of a vital sign is known to the day.")
    grouped = has(node, "component") or has(node, "hasMember")
    if not grouped and not has(node, "value[x]") and not has(node, "dataAbsentReason"):
        yield issue(at, "vital-sign", "A vital sign has a value, or a dataAbsentReason that says why not.")
    for index, part in enumerate(objects(node, "component")):
        if not has(part, "value[x]") and not has(part, "dataAbsentReason"):
            yield issue((at, "component", index), "vital-sign", "This component has neither value nor reason.")


def _own_issues(node: Node, at: At, profile: Profile) -> Iterator[Issue]:
    if not profile.code:
        return
    if not coded(node, "code", LOINC, profile.code):
        yield issue((at, "code", -1), "vital-sign", f"The profile {profile.name} has the LOINC code {profile.code}.")
    if has(node, "value[x]") and not has(node, "valueQuantity"):
        yield issue((at, "value[x]", -1), "vital-sign", f"The value of {profile.name} is a valueQuantity.")
    for quantity in objects(node, "valueQuantity"):
        yield from _quantity_issues(quantity, (at, "valueQuantity", -1), profile)


def _quantity_issues(quantity: Node, at: At, profile: Profile) -> Iterator[Issue]:
    allowed = " or ".join(profile.units)
    if number(quantity, "value") is None and not has(quantity, "value"):
        yield issue((at, "value", -1), "vital-sign", f"The quantity of {profile.name} has a value.")
    if not has(quantity, "unit"):
        yield issue((at, "unit", -1), "vital-sign", f"The quantity of {profile.name} has a unit to read.")
    if string(quantity, "system") != UCUM:
        yield issue((at, "system", -1), "vital-sign", f"The unit of {profile.name} is of the system {UCUM}.")
    if string(quantity, "code") not in profile.units:
        yield issue((at, "code", -1), "vital-sign", f"The unit of {profile.name} is {allowed}.")
