"""Checking FHIR R4 resources, ours and anyone's: one call, a list of issues with exact paths.

>>> from layette.mapping.validate import validate
>>> [str(one) for one in validate({"resourceType": "Patient", "gender": "girl"})]
['error: Patient.gender: This should be one of female, male, other, unknown. [binding]']
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from layette.mapping.validate.rules import coded, datatypes, definitions, resources, simple
from layette.mapping.validate.rules.issue import KEYS, Issue, Severity
from layette.mapping.validate.walk import Walk

RULES = (coded, datatypes, definitions, resources, simple)
"""The modules whose import registers the published invariants."""

__all__ = ["KEYS", "Issue", "Severity", "errors", "validate"]


def validate(resource: Any, *, advice: bool = False) -> list[Issue]:
    """Return what is wrong with a resource as ``fhir_json.loads`` gives it, sorted by path; empty if nothing is.

    Bundles, contained resources and parameters are checked to the bottom, each resource against its own type.
    ``advice`` adds what R4 only recommends (``dom-6``, a narrative everywhere). Never raises for bad content.
    """
    walk = Walk(advice)
    kind = resource.get("resourceType") if isinstance(resource, dict) else None
    walk.resource(resource, (None, kind if isinstance(kind, str) and kind.isalpha() else "input", -1))
    return sorted(set(walk.issues))


def errors(issues: Iterable[Issue]) -> list[Issue]:
    """Return the issues that make a resource invalid."""
    return [one for one in issues if one.severity == "error"]
