"""Test cases of the HL7 project that its validator calls clean: read alike, or flagged for a reason on a page."""

from __future__ import annotations

import pytest
from support.checkout import ROOT
from support.foreign import foreign

from layette.engine.errors import InputError
from layette.mapping.fhir.json import loads
from layette.mapping.fhir.xml import from_xml
from layette.mapping.validate import errors, validate

FLAGS: dict[str, set[str]] = {
    "mr-covid-m4.json": set(),
    "shc.json": set(),
    "shc-bundle.json": set(),
    "binary-ref-internal.xml": set(),
    "logical-boo-good.xml": set(),
    "logical-boo-bad3.xml": set(),
    "list-bad-reference.xml": {"reference-format"},
    "contained-resource.json": {"dom-3", "format"},
    "json-comments-1.json": {"not-json"},
    "json-comments-2.json": {"not-json"},
    "matchetype-pattern.json": {"format"},
    "ref-policy-r4.json": {"reference-format"},
    "aggregation-instance.xml": {"required"},
}
PAGE = (ROOT / "mapping/validate/WHAT-IS-CHECKED.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", FLAGS)
def test_a_case_is_clean_or_its_flag_is_explained(name: str) -> None:
    assert flags(name, foreign(f"hl7-cases/{name}")) == FLAGS[name]
    row = next(line for line in PAGE.splitlines() if f"`{name}`" in line)
    assert {key for key in FLAGS[name] if f"`{key}`" not in row} == set()
    assert ("stays: " in row) == bool(FLAGS[name])


def flags(name: str, data: bytes) -> set[str]:
    if name.endswith(".xml"):
        return {one.key for one in errors(validate(from_xml(data)))}
    try:
        return {one.key for one in errors(validate(loads(data)))}
    except InputError as error:
        return {problem.code for problem in error.problems}


def test_every_case_of_the_folder_is_judged() -> None:
    listed = foreign("hl7-cases/cases.tsv").decode().splitlines()[1:]
    assert {line.partition("\t")[0] for line in listed} == set(FLAGS)
