"""Codes: systems, wording, check digits, and every code that the pack uses."""

from __future__ import annotations

import pytest
from support.read_samples import newborn_pack

from layette.mapping import codes
from layette.mapping.read.codes.answers import pairs


def test_every_verified_code_has_a_right_check_digit() -> None:
    assert len(codes.verified()) == 419
    assert [key for key in codes.verified() if not codes.check_digit_ok(*key)] == []


@pytest.mark.parametrize(
    ("system", "code"),
    [
        ("loinc", "8332-5"),
        ("loinc", "8328-3"),
        ("snomed", "78243000"),
        ("loinc", "1975"),
        ("snomed", "0"),
        ("loinc", ""),
    ],
)
def test_wrong_check_digits_are_seen(system: str, code: str) -> None:
    assert not codes.check_digit_ok(system, code)


@pytest.mark.parametrize("digit", range(10))
def test_one_digit_is_right_for_each_number(digit: int) -> None:
    assert codes.loinc_ok(f"29463-{digit}") == (digit == 7)
    assert codes.snomed_ok(f"1361000{digit}"[:7] + str(digit)) == codes.snomed_ok(f"1361000{digit}")


def test_a_swap_of_neighbours_is_seen_in_every_snomed_code() -> None:
    for system, code in codes.verified():
        if system == codes.SYSTEMS["snomed"]:
            for k in range(len(code) - 1):
                swapped = code[:k] + code[k + 1] + code[k] + code[k + 2 :]
                assert swapped == code or not codes.snomed_ok(swapped)


def test_names_of_systems() -> None:
    assert codes.uri("snomed") == "http://snomed.info/sct"
    assert codes.short_name("http://hl7.org/fhir/sid/cvx") == "cvx"
    assert codes.uri("urn:other") == codes.short_name("urn:other") == "urn:other"
    assert codes.own("targets", "https://x.example/") == "https://x.example/CodeSystem/targets"


def test_wording_and_verification() -> None:
    assert codes.display("snomed", "1361009") == "Leukocoria"
    assert codes.display("loinc", "8332-5") is None
    assert codes.is_verified("http://loinc.org", "29463-7")
    assert not codes.is_verified("snomed", "78243000")
    assert codes.check_digit_ok("icd10cm", "P59.9")


def test_the_tables_beside_use_known_codes() -> None:
    accepted = {code for system, code in codes.verified() if system == codes.SYSTEMS["ucum"]}
    beside = {"mm", "[in_i]", "min", "mL", "g/dL", "g/L", "mg/L", "mmol/L"}
    assert set(codes.printed_units().values()) <= accepted | beside
    for system, code in codes.answer_words():
        assert system == codes.INTERPRETATION or codes.is_verified(system, code)


def test_every_code_of_the_pack_is_verified_and_well_formed() -> None:
    pack = newborn_pack()
    used = [pair for shape in pack.findings.values() for pair in _codes_of(shape)]
    used += [pair for target in pack.targets.values() for pair in pairs(target.codes)]
    assert [pair for pair in used if not codes.check_digit_ok(*pair)] == []
    assert [pair for pair in used if not codes.is_verified(*pair)] == []


def _codes_of(shape: object) -> list[tuple[str, str]]:
    groups = [shape.codes, *shape.part_codes.values(), *shape.side_codes.values(), *_by_value(shape)]  # type: ignore[attr-defined]
    return [pair for group in groups for pair in pairs(group)]


def _by_value(shape: object) -> list[object]:
    return [*shape.means.values(), *shape.answers.values(), *shape.asked.values()]  # type: ignore[attr-defined]
