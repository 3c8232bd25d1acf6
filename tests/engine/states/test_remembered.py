"""What is remembered of other visits gives the states that each visit gives by itself."""

from __future__ import annotations

import random
from typing import Any

import pytest
from support.sweeps import every_case

from layette.engine.api import load_pack
from layette.engine.states.facts import Facts
from layette.engine.states.plan import StatesPlan
from layette.engine.visit.visit import Visit


def _later(flat: dict[str, Any], rng: random.Random) -> dict[str, Any]:
    """Return a visit with some of what was found at it given another moment, status or reason."""
    findings = {}
    for name, written in flat.get("findings", {}).items():
        item = dict(written) if isinstance(written, dict) else {"value": written}
        further = rng.choice([{}, {}, {"age": "1 h"}, {"status": "preliminary"}, {"reported": True}])
        plain = not isinstance(written, list) and not {"time", "age", "status", "reported"} & item.keys()
        findings[name] = item | further if plain else written
    return {**flat, "findings": findings}


@pytest.fixture(scope="module")
def visits() -> list[Visit]:
    """The worked cases, each as it is, and with recordings of another moment; in any order."""
    rng, found = random.Random(5), []
    for case in every_case()[::5]:
        for flat in (case.shape.given, _later(case.shape.given, rng)):
            visit = load_pack().visit_reader().attempt(flat)
            if visit is not None:
                found.append(visit)
    rng.shuffle(found)
    return found


def _states(visits: list[Visit], everything: bool) -> list[tuple[list[int], dict[str, Any]]]:
    plan = StatesPlan(load_pack(), everything=everything)
    made = [Facts(plan, visit, {**plan.choices, **visit.settings}) for visit in visits]
    return [(facts.states, {name: facts.result(name) for name in plan.pack.measures}) for facts in made]


@pytest.mark.parametrize("everything", [True, False])
def test_what_is_remembered_of_other_visits_changes_no_state(
    everything: bool, visits: list[Visit], monkeypatch: pytest.MonkeyPatch
) -> None:
    remembering = _states(visits, everything)
    assert remembering == _states(visits[::-1], everything)[::-1]
    monkeypatch.setattr(Facts, "_said_now", lambda *_: None)
    monkeypatch.setattr(Facts, "_recorded_enough", lambda self: self.filling.measures)
    assert remembering == _states(visits, everything)
