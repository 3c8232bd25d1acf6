"""Seventy-odd defects of our own, of other classes and elements than the planted ones, each found at its path."""

import json

import pytest
from support.checkout import ROOT

from layette.mapping.fhir.json import loads
from layette.mapping.validate import validate

CASES = loads((ROOT / "tests/support/defects/own_defects.json").read_bytes())


@pytest.mark.parametrize("name", CASES)
def test_defect_is_found(name):
    case = CASES[name]
    found = validate(case["resource"])
    assert (case["path"], case["key"], "error") in {(one.path, one.key, one.severity) for one in found}
    assert all(one.message.endswith(".") and len(one.message) > 15 for one in found)


def test_at_least_thirty_of_many_kinds():
    assert len(CASES) >= 30
    assert len({case["key"] for case in CASES.values()}) >= 30
    assert len({json.dumps(case["resource"], default=str) for case in CASES.values()}) == len(CASES)
