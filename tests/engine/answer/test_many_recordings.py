"""Hundreds of recordings of one moment: each value is decided once, and numbers that decide alike by two of them."""

from __future__ import annotations

from typing import Any

import pytest

from layette.engine import Assessment, load_pack
from layette.engine.answer.resolved import alike, worlds

AT = "2026-06-05T09:00:00-05:00"


def assess(findings: dict[str, Any]) -> Assessment:
    times = {"born": "2026-06-01T08:00:00-05:00", "at": "2026-06-05T10:00:00-05:00"}
    return load_pack().assess({**times, "findings": findings}, readers=["native"])


def bilirubin(*tenths: int, time: str = AT) -> list[dict[str, Any]]:
    return [{"value": tenth / 10, "unit": "mg/dL", "time": time} for tenth in tenths]


@pytest.fixture
def decided(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Every world that is decided."""
    visits: list[object] = []
    decide = worlds.decide

    def counted(plan: Any, visit: Any, *rest: Any) -> Any:
        visits.append(visit)
        return decide(plan, visit, *rest)

    monkeypatch.setattr(worlds, "decide", counted)
    return visits


def what_presses(found: Assessment) -> list[Any]:
    judged = {(one.target, one.side, one.priority, one.why) for one in found.to_judge}
    return [[(r.target, r.priority, r.certain, r.answer_key) for r in found.recommendations], judged]


@pytest.mark.parametrize(
    "findings",
    [
        {"serum_bilirubin": bilirubin(*range(60, 300, 3))},
        {"serum_bilirubin": bilirubin(*range(100, 160, 4)), "gestational_age": {"value": 37, "unit": "wk"}},
        {"serum_bilirubin": [*bilirubin(80, time="2026-06-04T09:00:00-05:00"), *bilirubin(*range(80, 200, 5))]},
        {"temperature": [{"value": k / 10, "unit": "Cel", "time": AT} for k in range(340, 400, 2)]},
    ],
)
def test_numbers_that_stand_for_others_bring_what_all_of_them_would(
    findings: dict[str, Any], monkeypatch: pytest.MonkeyPatch, decided: list[object]
) -> None:
    with_few = what_presses(assess(findings))
    few = len(decided)
    monkeypatch.setattr(alike, "FEW", 1_000)
    assert what_presses(assess(findings)) == with_few
    assert few < len(decided) - few


def test_a_value_that_is_there_a_thousand_times_is_decided_once(decided: list[object]) -> None:
    assess({"serum_bilirubin": bilirubin(*[80, 120] * 500)})
    assert len(decided) == 4  # two values, two sexes: the sex is not known


def test_a_thousand_numbers_of_one_moment_are_decided_by_a_few(decided: list[object]) -> None:
    assess({"serum_bilirubin": [{**item, "value": 8 + k / 100} for k, item in enumerate(bilirubin(*[80] * 1_000))]})
    assert len(decided) < 150


def test_one_emergency_among_a_thousand_is_told_as_beside_one() -> None:
    quiet, alarming = ([{"value": value, "unit": "mg/dL", "time": AT}] for value in (8, 30))
    many = [{"value": 8 + k % 50 / 100, "unit": "mg/dL", "time": AT} for k in range(1_000)]
    pressing = {p.target for p in assess({"serum_bilirubin": alarming}).recommendations if p.priority == "stat"}
    assert pressing - {p.target for p in assess({"serum_bilirubin": quiet}).recommendations if p.priority == "stat"}
    found = assess({"serum_bilirubin": [*many[:400], *alarming, *many[400:]]})
    told = {one.target for one in (*found.recommendations, *found.to_judge) if one.priority == "stat"}
    assert pressing <= told
