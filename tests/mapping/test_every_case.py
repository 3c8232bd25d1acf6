"""Cases of the shipped pack, written out: valid FHIR, a page that fits, and no code or rule but published ones.

A run takes so many cases that each rule stands in one of them. Every fourth of these is held to the XML Schema too,
and written once more for an inbox, which gets a part of the same; `pytest --whole-sweeps
tests/mapping/test_every_case.py` takes every case for all of it. Each case is assessed and written once for all of
these tests. The cases come in parts, so that several workers can share them; a worker keeps one part at a time.
"""

from __future__ import annotations

import os
from base64 import b64decode
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from support.checkout import ROOT
from support.fhir_nodes import BASE, codes_of, nodes, of, published
from support.sweeps import cases_that_show_each_rule, every_case, standing, whole

from layette.engine import Assessment
from layette.engine.api import load_pack
from layette.mapping.export import export
from layette.mapping.fhir.xml import to_xml, validate_xsd
from layette.mapping.validate import validate
from layette.mapping.write import to_bundle

XSD = Path(os.environ.get("LAYETTE_FHIR_XSD", ROOT.parent / "shared/reference/fhir/fhir-single.xsd"))
FEW = 37
"""Every 37th case is in the part that a quick run looks at."""
PARTS = 7
FOURTH = 4


class Answered(NamedTuple):
    """A case with its answer: all of it, and for every fourth case what an inbox acts on."""

    name: str
    found: Assessment
    bundle: dict[str, Any]
    care: dict[str, Any] | None


def parts() -> list[Any]:
    """The part of a quick run, then the others, each as a group for one worker."""
    quick = pytest.param(0, id="a few", marks=pytest.mark.xdist_group("cases-0"))
    slow = [
        pytest.param(k, id=f"part {k}", marks=[pytest.mark.slow, pytest.mark.xdist_group(f"cases-{k}")])
        for k in range(1, PARTS)
    ]
    return [quick, *slow]


def part_of(number: int) -> int:
    """The part of the case with this number: every case is in one."""
    return 0 if number % FEW == 0 else 1 + number % (PARTS - 1)


@pytest.fixture(scope="module", params=parts())
def answers(request: pytest.FixtureRequest) -> list[Answered]:
    """The cases of one part, assessed by one reader and written."""
    pack, made = load_pack(), []
    cases = every_case() if whole(request) else cases_that_show_each_rule()
    each = 1 if whole(request) else FOURTH
    for place, case in enumerate(case for number, case in enumerate(cases) if part_of(number) == request.param):
        visit = case.shape.given
        found = pack.assess(visit, readers=["native"])
        care = None if place % each else to_bundle(found, pack, visit=visit, parts="inbox")
        made.append(Answered(case.shape.id, found, to_bundle(found, pack, visit=visit, parts="all"), care))
    return made


@cache
def exported() -> list[dict[str, Any]]:
    return export(load_pack())


def page_of(bundle: dict[str, Any]) -> str:
    (document,) = of([entry["resource"] for entry in bundle["entry"]], "DocumentReference")
    return b64decode(document["content"][0]["attachment"]["data"]).decode("utf-8")


def test_the_parts_hold_every_case_once() -> None:
    for cases in (every_case(), cases_that_show_each_rule()):
        numbers = range(len(cases))
        sizes = [sum(part_of(number) == part for number in numbers) for part in range(PARTS)]
        assert sum(sizes) == len(numbers)
        assert min(sizes) > 7


def test_each_rule_that_stands_in_some_case_stands_in_one_that_a_run_takes() -> None:
    taken, every = cases_that_show_each_rule(), every_case()
    chosen = {case.shape.id for case in taken}
    shown = {
        number for case, rules in zip(every, standing(), strict=True) if case.shape.id in chosen for number in rules
    }
    assert shown == {number for rules in standing() for number in rules}
    assert len(shown) > 400
    assert len(taken) < len(every) / 2


def test_each_case_is_valid_fhir(answers: list[Answered]) -> None:
    for name, _, everything, care in answers:
        for bundle in (everything, care):
            assert bundle is None or [str(issue) for issue in validate(bundle)] == [], name


@pytest.mark.skipif(not XSD.exists(), reason="the published XML Schema of FHIR is not here: LAYETTE_FHIR_XSD names it")
def test_each_case_is_valid_fhir_as_xml(answers: list[Answered], request: pytest.FixtureRequest) -> None:
    for name, _, everything, _ in answers[:: 1 if whole(request) else FOURTH]:
        assert validate_xsd(to_xml(everything), XSD) == [], name


def test_each_case_is_a_page_that_fits(answers: list[Answered]) -> None:
    """The page is the one that goes out in the Bundle, with every list to its end."""
    for name, _, bundle, _ in answers:
        assert all(len(line) <= 100 for line in page_of(bundle).split("\n")), name


def test_every_own_code_that_goes_out_is_published_and_every_rule_found(answers: list[Answered]) -> None:
    known = published(exported())
    open_systems = {one["url"] for one in of(exported(), "CodeSystem") if one["content"] == "not-present"}
    (plan,) = of(exported(), "PlanDefinition")
    actions = {f"{plan['url']}|{plan['version']}#{action['id']}" for action in plan["action"]}
    for name, _, bundle, _ in answers:
        new = {(system, code) for system, code in codes_of(bundle, BASE) - known if system not in open_systems}
        assert new == set(), name
        links = [link for node in nodes(bundle) for link in node.get("instantiatesCanonical", ())]
        assert set(links) <= actions | {f"{plan['url']}|{plan['version']}"}, name
