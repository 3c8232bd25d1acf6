"""Every case of the shipped pack, written out: valid by our validator and the published XSD, and a page that fits."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from support.checkout import ROOT

from layette.engine.api import Pack, load_pack
from layette.engine.cases.written import read_cases
from layette.mapping.fhir.json import dumps
from layette.mapping.fhir.xml import to_xml, validate_xsd
from layette.mapping.text import render
from layette.mapping.validate import validate
from layette.mapping.write import to_bundle

XSD = Path(os.environ.get("LAYETTE_FHIR_XSD", ROOT.parent / "shared/reference/fhir/fhir-single.xsd"))
TENTHS = range(10)


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack()


def visits(pack: Pack, tenth: int) -> list[tuple[str, dict[str, Any]]]:
    cases, problems = read_cases(pack)
    assert not problems
    return [(case.shape.id, case.shape.given) for case in cases[tenth::10]]


@pytest.mark.slow
@pytest.mark.parametrize("tenth", TENTHS)
def test_each_case_is_valid_fhir_and_a_page_that_fits(pack: Pack, tenth: int) -> None:
    for name, visit in visits(pack, tenth):
        found = pack.assess(visit, readers=["native"])
        bundle = to_bundle(found, pack, visit=visit)
        assert [str(issue) for issue in validate(bundle)] == [], name
        if XSD.exists():
            assert validate_xsd(to_xml(bundle), XSD) == [], name
        assert all(len(line) <= 100 for line in render(found, full=True).split("\n")), name


def test_the_order_of_findings_does_not_matter(pack: Pack) -> None:
    for name, visit in visits(pack, 3)[:4]:
        turned = visit | {"findings": dict(reversed(list((visit.get("findings") or {}).items())))}
        first, second = (to_bundle(pack.assess(one, readers=["native"]), pack, visit=one) for one in (visit, turned))
        assert dumps(first) == dumps(second), name
