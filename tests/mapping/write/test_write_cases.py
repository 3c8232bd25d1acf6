"""Cases of the shipped pack, written out; all of them are in `tests/mapping/test_every_case.py`."""

from __future__ import annotations

import pytest
from support.sweeps import every_case

from layette.engine.api import Pack, load_pack
from layette.mapping.fhir.json import dumps
from layette.mapping.write import to_bundle


@pytest.fixture(scope="module")
def pack() -> Pack:
    return load_pack()


def test_the_order_of_findings_does_not_matter(pack: Pack) -> None:
    for case in every_case()[3:43:10]:
        visit = case.shape.given
        turned = visit | {"findings": dict(reversed(list((visit.get("findings") or {}).items())))}
        first, second = (to_bundle(pack.assess(one, readers=["native"]), pack, visit=one) for one in (visit, turned))
        assert dumps(first) == dumps(second), case.shape.id
