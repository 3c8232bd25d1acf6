"""A dose in `history.immunizations` counts as recorded: what was given is not proposed again."""

from __future__ import annotations

from typing import Any

import pytest

from layette.engine import InputError, load_pack

BORN, AT = "2026-11-20T08:00:00-06:00", "2026-11-24T10:00:00-06:00"
FIRST_HOURS = "2026-11-20T12:00:00-06:00"
PACK = load_pack()


def visit(*doses: dict[str, Any], **findings: Any) -> dict[str, Any]:
    return {"born": BORN, "at": AT, "findings": findings, "history": {"immunizations": list(doses)}}


def ordered(*doses: dict[str, Any], **findings: Any) -> set[str]:
    """What is proposed, or to be looked up because it is not on record."""
    made = PACK.assess(visit(*doses, **findings), readers=["native"])
    return {one.target for one in (*made.recommendations, *made.not_on_record)}


def test_without_a_dose_on_record_it_is_overdue() -> None:
    assert {"hepatitis_b_dose", "vitamin_k_dose"} <= ordered()


@pytest.mark.parametrize("code", ["hepatitis_b_vaccine", "cvx:08"])
def test_a_dose_on_record_is_not_proposed_again(code: str) -> None:
    assert "hepatitis_b_dose" not in ordered({"code": code, "time": FIRST_HOURS})


def test_a_dose_without_a_time_was_given_at_some_time_since_birth() -> None:
    assert "vitamin_k_dose" not in ordered({"code": "vitamin_k"})


def test_a_dose_that_is_also_a_finding_is_one_recording() -> None:
    told = {"hepatitis_b_vaccine": {"value": "given", "time": FIRST_HOURS}}
    read = PACK.read_visit(visit({"code": "hepatitis_b_vaccine", "time": FIRST_HOURS}, **told))
    assert [r.finding for r in read.readings] == ["hepatitis_b_vaccine"]


def test_a_dose_beside_a_refusal_of_another_time_is_a_recording_of_its_own() -> None:
    told = {"hepatitis_b_vaccine": {"value": "declined", "time": "2026-11-20T09:00:00-06:00"}}
    read = PACK.read_visit(visit({"code": "hepatitis_b_vaccine", "time": FIRST_HOURS}, **told))
    assert [r.given for r in read.readings] == ["declined", "given"]


def test_a_published_code_of_another_vaccine_is_kept_and_reported() -> None:
    made = PACK.assess(visit({"code": "cvx:999", "time": FIRST_HOURS}), readers=["native"])
    assert (
        "history.immunizations[0]: kept, not understood: no finding of this pack is a dose of cvx:999" in made.warnings
    )


def test_a_name_that_the_pack_does_not_know_is_a_mistake_with_the_nearest_name() -> None:
    with pytest.raises(InputError, match=r"history\.immunizations\[0\]\.code") as raised:
        PACK.assess(visit({"code": "hepatitis_b", "time": FIRST_HOURS}), readers=["native"])
    assert "did you mean hepatitis_b_" in str(raised.value)
