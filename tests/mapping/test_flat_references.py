"""What FHIR output could not hold is refused in the flat visit, with its path and what would be right."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from layette.engine import InputError, PackError, load_pack
from layette.mapping.answering import answer

TIMES = {"born": "2026-06-01T08:00:00-05:00", "at": "2026-06-05T10:00:00-05:00"}


def visit(origin: Any = "Observation/1", **parts: Any) -> dict[str, Any]:
    bilirubin = {"value": 30, "unit": "mg/dL", "time": "2026-06-05T09:00:00-05:00", "origin": origin}
    return {**TIMES, "findings": {"serum_bilirubin": bilirubin}, **parts}


@pytest.mark.parametrize(
    ("flat", "path"),
    [
        (visit(patient="Patient/a b"), "patient"),
        (visit(patient=5), "patient"),
        (visit(patient="Encounter/1"), "patient"),
        (visit(patient="mara"), "patient"),
        (visit(encounter="Encounter/"), "encounter"),
        (visit(encounter=["Encounter/1"]), "encounter"),
        (visit(identifiers=[{"system": "urn:x", "value": 7}]), "identifiers[0].value"),
        (visit(identifiers=[{"value": "7"}, {"system": "a b", "value": "7"}]), "identifiers[1].system"),
        (visit(identifiers=[{"system": "urn:x", "value": " "}]), "identifiers[0].value"),
        (visit(origin="a b"), "findings.serum_bilirubin.origin"),
        (visit(origin="Foo/1"), "findings.serum_bilirubin.origin"),
        (visit(origin="javascript:alert(1)"), "findings.serum_bilirubin.origin"),
    ],
)
def test_a_reference_that_cannot_be_written_is_refused_and_hides_nothing(flat: dict[str, Any], path: str) -> None:
    with pytest.raises(InputError) as caught:
        answer(flat, load_pack())
    assert [problem.path for problem in caught.value.problems] == [path]
    assert caught.value.urgent


@pytest.mark.parametrize(
    "flat",
    [
        visit(patient="Patient/1", encounter="https://ehr.example.org/fhir/Encounter/1"),
        visit(
            patient="urn:uuid:5bd0a1ce-4f5b-4a1e-8a1c-6a1d9a1f0a11", origin="https://ehr.example.org/fhir/Observation/1"
        ),
        visit(origin="QuestionnaireResponse/1/_history/2"),
    ],
)
def test_one_that_can_be_written_is(flat: dict[str, Any]) -> None:
    assert answer(flat, load_pack()).to_fhir(load_pack())["resourceType"] == "Bundle"


@pytest.mark.parametrize("part", ["at", "born"])
def test_an_offset_has_no_seconds(part: str) -> None:
    with pytest.raises(InputError, match="an offset from UTC is of whole minutes"):
        answer(visit() | {part: TIMES[part].replace("-05:00", "-05:00:30")}, load_pack())


@pytest.mark.parametrize("base", ["javascript:alert(1)", "clinic", "https://a b"])
def test_a_base_that_is_no_address_is_refused_in_the_site_file(base: str, tmp_path: Path) -> None:
    site = tmp_path / "site.yaml"
    site.write_text(f'site: Clinic\ncanonical: "{base}"\n')
    with pytest.raises(PackError, match="is no base of code systems"):
        load_pack(site=site)
