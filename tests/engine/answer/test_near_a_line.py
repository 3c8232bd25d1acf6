"""A value that no line can judge: named where it is near one that the newborn may have, silent far below all."""

from __future__ import annotations

from typing import Any

import pytest

from layette.engine import Assessment, load_pack

BORN, AT = "2026-06-01T08:00:00-05:00", "2026-06-04T08:00:00-05:00"
"""72 h old: phototherapy above 300 umol/L from 38 weeks on, 250 at 35 weeks by the formula; exchange 450 and 350."""


def assess(umol: float, days: Any = None, finding: str = "serum_bilirubin", **findings: Any) -> Assessment:
    if days is not None:
        findings["gestational_age"] = {"value": days, "unit": "d"}
    findings[finding] = {"value": umol, "unit": "umol/L"}
    return load_pack().assess({"born": BORN, "at": AT, "findings": findings}, readers=["native"])


def judged(found: Assessment) -> dict[str, str]:
    return {one.target: one.priority for one in found.to_judge}


@pytest.mark.parametrize("days", [None, 246, 253, 262, {"between": [250, 280]}])
def test_five_mg_heads_no_page_whatever_the_gestation(days: Any) -> None:
    found = assess(5 * 17.1, days)
    assert found.to_judge == ()
    assert not next(one for one in found.answers if one.target == "exchange_transfusion").settled


@pytest.mark.parametrize(
    ("umol", "days", "expected"),
    [
        (200, None, {}),
        (201, None, {"phototherapy": "asap"}),
        (300, None, {"phototherapy": "asap"}),
        (301, None, {"exchange_transfusion": "stat"}),
        (229, {"between": [259, 280]}, {"phototherapy": "asap"}),
        (220, {"between": [259, 280]}, {}),
        (250, {"between": [266, 280]}, {}),
    ],
)
def test_near_means_fifty_below_the_lowest_line_that_may_be(umol: float, days: Any, expected: dict[str, str]) -> None:
    found = judged(assess(umol, days))
    assert expected.items() <= found.items()
    assert expected or not found


def test_what_is_missing_is_named() -> None:
    [item] = assess(240).to_judge
    assert item.why.startswith("Gestational age at birth is not recorded, and so near a line it decides")
    assert [used.subject for used in item.values] == ["serum_bilirubin"]


def test_the_packs_own_words_take_the_place_of_the_engines() -> None:
    [item] = assess(265, 252).to_judge
    assert set(item.rules) == {"jaundice-near-line.early-above", "jaundice-near-line.early-near"}


@pytest.mark.parametrize(("line", "silent"), [(300, True), (260, False)])
def test_a_line_from_a_chart_settles_what_no_line_could(line: float, silent: bool) -> None:
    found = assess(265, 252, charted_treatment_line={"value": line, "unit": "umol/L"})
    assert (found.to_judge == ()) is silent


def test_a_chart_does_not_silence_what_is_more_pressing_than_it_answers() -> None:
    found = assess(340, 252, charted_treatment_line={"value": 360, "unit": "umol/L"})
    assert "exchange_transfusion" in judged(found)


def test_where_no_table_was_supplied_any_value_is_to_be_judged() -> None:
    flat = {"born": BORN, "at": AT, "findings": {"serum_bilirubin": {"value": 85, "unit": "umol/L"}}}
    found = load_pack().assess({**flat, "settings": {"bilirubin_set": "aap-2022"}}, readers=["native"])
    assert set(judged(found).values()) == {"stat"}


@pytest.mark.parametrize(("umol", "expected"), [(200, {}), (201, {"serum_bilirubin_test": "asap"})])
def test_so_it_is_for_a_reading_through_the_skin(umol: float, expected: dict[str, str]) -> None:
    assert judged(assess(umol, finding="transcutaneous_bilirubin")) == expected
