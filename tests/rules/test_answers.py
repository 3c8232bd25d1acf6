"""Law: what is read as normal by a code is read as abnormal by one too."""

from __future__ import annotations

from layette.engine import load_pack
from layette.engine.pack.written.shapes import FindingShape, listed

UNVERIFIED = "no verified code says this; a record says it in words or in our own code"
WITHOUT = {
    ("colour", "grey"): UNVERIFIED,
    ("colour", "mottled"): UNVERIFIED,
    ("vomiting", "bloody"): UNVERIFIED,
    ("vomiting", "yellow"): UNVERIFIED,
    ("navel_hernia", "stuck"): UNVERIFIED,
    ("testis", "inguinal"): UNVERIFIED,
    ("testis", "not_felt"): UNVERIFIED,
    ("hydrocele", "changes_size"): UNVERIFIED,
    ("foot", "rocker_bottom"): UNVERIFIED,
    ("foot", "stiff"): UNVERIFIED,
    ("hepatitis_b_vaccine", "declined"): UNVERIFIED,
    ("bloodspot_result", "not_understood"): "stands for what no code says",
    ("oximetry_result", "not_understood"): "stands for what no code says",
}


def coded(shape: FindingShape) -> set[str]:
    return {value for codes in (shape.answers, shape.means, shape.asked) for value, given in codes.items() if given}


def test_a_finding_whose_expected_answer_has_a_code_has_codes_for_its_abnormal_ones() -> None:
    findings = load_pack().findings
    held = {name: shape for name, shape in findings.items() if coded(shape) & set(listed(shape.expected))}
    assert {"bloodspot_result", "oximetry_result"} <= held.keys()
    lacking = {
        (name, value)
        for name, shape in held.items()
        for value in set(shape.values or ()) - set(listed(shape.expected)) - coded(shape)
    }
    assert lacking == WITHOUT.keys()


def test_a_value_for_what_is_not_understood_is_never_what_is_expected() -> None:
    findings = load_pack().findings
    holders = {name: shape for name, shape in findings.items() if shape.not_understood}
    assert holders.keys() >= {"bloodspot_result", "hearing_screen", "hearing_rescreen", "oximetry_result"}
    assert [name for name, shape in holders.items() if shape.not_understood in listed(shape.expected)] == []
