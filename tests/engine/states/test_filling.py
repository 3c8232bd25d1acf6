"""What no rule asks for under the settings in force is left alone, and that changes no answer."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from layette.engine import load_pack
from layette.engine.cases.cases import read_cases
from layette.engine.states import filling
from layette.engine.states.plan import PackVariables


@pytest.fixture
def unfiltered(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fill every variable, asked for or not."""
    everything = frozenset(range(len(load_pack().table.entries)))
    monkeypatch.setattr(filling, "_asked", lambda pack, states: everything)
    PackVariables.filling.cache_clear()
    yield
    PackVariables.filling.cache_clear()


PACK = load_pack()
CASES, _ = read_cases(PACK)
PLAIN = CASES[::40]
SET = [case for case in CASES if case.shape.given.get("settings")][::5]


@pytest.fixture(scope="module")
def filtered() -> dict[str, str]:
    PackVariables.filling.cache_clear()
    return {case.shape.id: PACK.assess(case.shape.given, readers=["native"]).to_json() for case in (*PLAIN, *SET)}


@pytest.mark.parametrize("cases", [PLAIN, SET], ids=["default settings", "other settings"])
def test_filling_everything_gives_the_same_assessment(
    filtered: dict[str, str], unfiltered: None, cases: list[object]
) -> None:
    assert len(cases) > 15
    for case in cases:
        made = PACK.assess(case.shape.given, readers=["native"])  # type: ignore[attr-defined]
        assert made.to_json() == filtered[case.shape.id]  # type: ignore[attr-defined]
