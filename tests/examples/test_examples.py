"""The shipped examples give the answers that are kept beside them, the right ones, in valid FHIR."""

from __future__ import annotations

import json
import os
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from support.checkout import ROOT
from support.shipped_examples import EXAMPLES, EXPECTED, FORMS, NAMES, alike, assess, source

from layette.engine.api import load_pack
from layette.mapping.answering import answer
from layette.mapping.cli import main
from layette.mapping.fhir.json import loads
from layette.mapping.fhir.xml import from_xml, validate_xsd
from layette.mapping.validate import validate

XSD = Path(os.environ.get("LAYETTE_FHIR_XSD") or ROOT.parent / "shared/reference/fhir/fhir-single.xsd")
WITHOUT_XSD = "the published XSD of FHIR R4 is not here: fhir-all-xsd.zip at https://hl7.org/fhir/R4/downloads.html"

example = pytest.mark.parametrize("name", NAMES)


@pytest.fixture(scope="session")
def answers(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, str], bytes]:
    """Every example in every form."""
    folder = tmp_path_factory.mktemp("examples")
    forms = (*FORMS, "fhir-xml")
    return {(name, form): assess(EXAMPLES / f"{name}.json", form, folder) for name in NAMES for form in forms}


def test_the_visits_are_all_here() -> None:
    expected = {name + ending for name in NAMES for ending in FORMS.values()}
    assert len(NAMES) >= 5
    assert {path.name for path in EXPECTED.iterdir() if path.is_file()} == expected


def test_the_readme_names_every_visit_and_file() -> None:
    readme = (EXAMPLES / "README.md").read_text(encoding="utf-8")
    files = [path.name for path in EXAMPLES.iterdir() if path.is_file() and path.name != "README.md"]
    assert [name for name in files if f"`{name}`" not in readme] == []


@example
@pytest.mark.parametrize("form", FORMS)
def test_the_answer_is_the_one_that_is_kept(
    name: str, form: str, answers: dict[tuple[str, str], bytes], request: pytest.FixtureRequest
) -> None:
    kept = EXPECTED / f"{name}{FORMS[form]}"
    written = alike(answers[name, form].decode())
    if request.config.getoption("--renew-examples"):
        EXPECTED.mkdir(exist_ok=True)
        kept.write_bytes(written.encode())
    assert written.encode() == kept.read_bytes(), f"{kept}: see examples/README.md on how to renew it"


@example
def test_no_line_is_too_wide_and_none_has_colour(name: str, answers: dict[tuple[str, str], bytes]) -> None:
    lines = answers[name, "text"].decode().splitlines()
    assert max(map(len, lines)) <= 100
    assert not any("\x1b" in line for line in lines)


@example
def test_what_comes_in_is_valid(name: str) -> None:
    assert [str(issue) for issue in validate(source(name))] == []
    for resource in _resources(source(name)):
        assert list(_against_its_type(resource)) == []


@example
def test_what_comes_out_is_valid(name: str, answers: dict[tuple[str, str], bytes]) -> None:
    bundle = loads(answers[name, "fhir-json"])
    assert bundle["type"] == "transaction"
    assert [str(issue) for issue in validate(bundle)] == []
    for resource in _resources(bundle):
        assert list(_against_its_type(resource)) == []


@example
def test_xml_and_json_say_the_same(name: str, answers: dict[tuple[str, str], bytes]) -> None:
    assert from_xml(answers[name, "fhir-xml"]) == loads(answers[name, "fhir-json"])


@example
def test_the_xml_meets_the_published_xsd(name: str, answers: dict[tuple[str, str], bytes]) -> None:
    if not XSD.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(f"{WITHOUT_XSD}; LAYETTE_FHIR_XSD says where it lies")
        pytest.skip(WITHOUT_XSD)
    assert validate_xsd(answers[name, "fhir-xml"], XSD) == []


@example
def test_everything_that_was_sent_is_accounted_for(name: str, answers: dict[tuple[str, str], bytes]) -> None:
    sent = len(source(name)["entry"])
    assert f"{sent} entries read" in answers[name, "text"].decode()
    assert ", 0 refused." in answers[name, "text"].decode()


@example
def test_names_and_addresses_are_plainly_invented(name: str) -> None:
    for resource in _resources(source(name)):
        for given in resource.get("name", ()):
            assert given["text"].endswith("(invented)")
    assert all(entry["fullUrl"].startswith("https://ehr.example.org/") for entry in source(name)["entry"])


def test_the_flat_visit_says_what_the_bundle_says() -> None:
    pack = load_pack()
    flat, bundle = (
        answer((EXAMPLES / f"healthy-day-4.{kind}").read_bytes(), pack, readers=("native",)).assessment
        for kind in ("yaml", "json")
    )
    for part in ("recommendations", "guidance", "reassurance", "avoid"):
        said = [
            [(one.target, one.side, one.certain, one.window.text) for one in getattr(found, part)]
            for found in (flat, bundle)
        ]
        assert said[0] == said[1] != [] or part in ("avoid", "recommendations")
    assert flat.answers == bundle.answers


def test_each_line_of_the_ndjson_is_one_of_the_visits() -> None:
    lines = (EXAMPLES / "two-visits.ndjson").read_text(encoding="utf-8").splitlines()
    visits = ("red-reflex-hip-testis-day-6", "two-weeks-after")
    assert [loads(line.encode()) for line in lines] == [source(name) for name in visits]


LARGEST = {"jaundiced-sleepy-day-4": 95_000}
"""Bytes of the compact Bundle in the default parts: what an inbox takes in with one visit."""


@example
def test_what_goes_out_by_default_is_lean(name: str, tmp_path: Path) -> None:
    """A plan, its requests and what they rest on: no page, and none of the thirty requests of one topic each."""
    out = tmp_path / "answer.json"
    assert main(["assess", str(EXAMPLES / f"{name}.json"), "--to", "fhir-json", "--out", str(out)]) == 0
    assert out.stat().st_size <= LARGEST.get(name, 100_000)
    kinds = Counter(resource["resourceType"] for resource in _resources(loads(out.read_bytes())))
    once = ("CarePlan", "GuidanceResponse", "Provenance", "Device")
    assert {kind: kinds[kind] for kind in once} == dict.fromkeys(once, 1)
    assert (kinds["CommunicationRequest"], kinds["DocumentReference"], kinds["Task"]) == (2, 0, 0)


def _resources(bundle: dict[str, Any]) -> Iterator[dict[str, Any]]:
    return (entry["resource"] for entry in bundle["entry"])


def _against_its_type(resource: dict[str, Any]) -> Iterator[str]:
    """Hold a resource, and what it contains, each to the type that it names: only that one of all types can hold it."""
    for one in resource.get("contained", ()):
        yield from _against_its_type(one)
    alone = {key: value for key, value in resource.items() if key != "contained"}
    for problem in _checker(resource["resourceType"]).iter_errors(_floats(alone)):
        yield f"{resource['resourceType']} {problem.json_path}: {problem.message}"


@cache
def _checker(kind: str) -> jsonschema.Draft6Validator:
    return jsonschema.Draft6Validator({"definitions": _schema()["definitions"], "$ref": f"#/definitions/{kind}"})


@cache
def _schema() -> dict[str, Any]:
    found: dict[str, Any] = json.loads((ROOT / "schemas/fhir/fhir.schema.json").read_bytes())
    return found


def _floats(value: Any) -> Any:
    """Numbers as jsonschema takes them; nothing that is checked here depends on their digits."""
    if isinstance(value, dict):
        return {key: _floats(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_floats(inner) for inner in value]
    return float(value) if isinstance(value, Decimal) else value
