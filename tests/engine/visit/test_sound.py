"""What only a program can put into a visit: it is an error with its path, and hides nothing that the rest decides."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from layette.engine import InputError, load_pack
from layette.engine.visit.sound import sound
from layette.mapping.answering import answer

HUGE = 10**5000


def nested(levels: int) -> Any:
    part: Any = "inside"
    for _ in range(levels):
        part = [part]
    return part


def holds_itself() -> dict[str, Any]:
    part: dict[str, Any] = {}
    part.update(a=part, b=part)
    return part


def visit(**parts: Any) -> dict[str, Any]:
    return {"born": "2026-06-01T08:00:00-05:00", "at": "2026-06-05T10:00:00-05:00", "findings": {}, **parts}


def bilirubin(value: Any) -> dict[str, Any]:
    return visit(findings={"serum_bilirubin": {"value": value, "unit": "mg/dL"}})


@pytest.mark.parametrize(
    ("flat", "path"),
    [
        (bilirubin(Fraction(HUGE)), "findings.serum_bilirubin.value"),
        (bilirubin(Fraction(HUGE + 1, HUGE)), "findings.serum_bilirubin.value"),
        (bilirubin({"between": [1, Fraction(1, HUGE)]}), "findings.serum_bilirubin.value.between[1]"),
        (bilirubin(HUGE), "findings.serum_bilirubin.value"),
        (visit(patient=HUGE), "patient"),
        (visit(patient=nested(10_000)), "patient"),
        (visit(identifiers=nested(10_000)), "identifiers[0]"),
        (visit(history=holds_itself()), "history.a"),
    ],
)
def test_what_is_unsound_is_refused_with_its_path(flat: dict[str, Any], path: str) -> None:
    for refuse in (load_pack().assess, lambda content: answer(content, load_pack())):
        with pytest.raises(InputError) as caught:
            refuse(flat)
        assert any(problem.path.startswith(path) for problem in caught.value.problems)


def test_what_is_unsound_hides_no_emergency() -> None:
    for refuse in (load_pack().assess, lambda content: answer(content, load_pack())):
        with pytest.raises(InputError) as caught:
            refuse(bilirubin(30) | {"patient": nested(10_000)})
        assert any("Exchange" in line for line in caught.value.urgent)


def test_a_sound_visit_is_the_very_same_object() -> None:
    flat = bilirubin(Fraction(25, 3))
    assert sound(flat, lambda *told: pytest.fail(str(told))) is flat
