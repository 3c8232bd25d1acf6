"""The counts of an audit as FHIR: a Bundle of MeasureReports of type summary, one a rule, small counts left out."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from layette.mapping.codes.systems import OWN_BASE
from layette.mapping.pages.audit.counted import ALL, BY, counted
from layette.mapping.pages.audit.page import Choice
from layette.mapping.pages.audit.shown import Shown, shown

_POPULATIONS = "http://terminology.hl7.org/CodeSystem/measure-population"
_NAMES = {
    "due": ("initial-population", "Initial Population"), "judged": ("denominator", "Denominator"),
    "not yet": ("denominator-exclusion", "Denominator Exclusion"), "done": ("numerator", "Numerator"),
}  # fmt: skip
"""Which column is which population; the exclusion is of visits that are due and may still be answered."""


def measure_reports(out: Path, account: Mapping[str, Any], choice: Choice) -> dict[str, Any]:
    """Return a Bundle (collection) of what the report of the same ``choice`` shows, rule by rule, as R4.

    A rule of which not even the number of visits at which it was due may be shown has no report. Raises as `counted`.
    """
    found = counted(out, choice.period)
    first, last = found.months
    bundle = {"resourceType": "Bundle", "type": "collection"}
    if not first or found.visits < choice.least:
        return bundle
    year, month = (int(part) for part in last.split("-"))
    base = {
        "resourceType": "MeasureReport", "status": "complete", "type": "summary",
        "period": {"start": first, "end": f"{last}-{monthrange(year, month)[1]:02}"},
    }  # fmt: skip
    version = account["pack"]["version"]
    made = []
    for one in found.rules:
        say = shown(one, choice.least)
        if say.number(*ALL, "due"):
            measure = {"measure": f"{OWN_BASE}/Measure/{one.name}|{version}"}
            made.append({**base, **measure, "group": [{**_counts(say, *ALL), **_strata(say)}]})
    entries = [{"resource": report} for report in made]
    return {**bundle, "entry": entries} if entries else bundle


def _counts(say: Shown, by: str, group: str) -> dict[str, Any]:
    """Return the populations of a group that may be shown, and its score."""
    populations = [
        {"code": {"coding": [{"system": _POPULATIONS, "code": code, "display": display}]}, "count": number}
        for column, (code, display) in _NAMES.items()
        if (number := say.number(by, group, column)) is not None
    ]
    made: dict[str, Any] = {"population": populations} if populations else {}
    share = say.share(by, group)
    return {**made, "measureScore": {"value": round(share.share, 4)}} if share else made


def _strata(say: Shown) -> dict[str, Any]:
    found = [
        {"code": [{"text": head}], "stratum": strata} for by, head in BY.items() if (strata := list(_stratum(say, by)))
    ]
    return {"stratifier": found} if found else {}


def _stratum(say: Shown, by: str) -> Iterator[dict[str, Any]]:
    for group in say.of.groups.get(by, []):
        told = _counts(say, by, group)
        if told:
            yield {"value": {"text": group}, **told}
