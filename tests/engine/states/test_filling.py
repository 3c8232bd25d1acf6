"""What no rule asks for under the settings in force is left alone, and that changes no answer."""

from __future__ import annotations

from functools import cache

import pytest
from support.sweeps import every_case

from layette.engine import load_pack
from layette.engine.answer.assemble import assemble
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cases.written import Case
from layette.engine.states.decide import decide
from layette.engine.states.plan import StatesPlan

PACK = load_pack()
PLAIN = every_case()[::40]
SET = [case for case in every_case() if case.shape.given.get("settings")][::5]


@cache
def plan_of(*, everything: bool) -> AnswerPlan:
    """Return how the pack is laid out; ``everything``: so that every variable is filled, asked for or not."""
    return AnswerPlan(StatesPlan(PACK, everything=everything))


def assessed(case: Case, plan: AnswerPlan) -> str:
    """Return the answer as JSON."""
    visit = PACK.read_visit(case.shape.given)
    decision = decide(plan.states, visit, PACK.readers(["native"]), plan.rule_priorities)
    return assemble(Context(decision, plan), PACK.readers(["native"])).to_json()


@pytest.mark.parametrize("cases", [PLAIN, SET], ids=["default settings", "other settings"])
def test_filling_everything_gives_the_same_assessment(cases: list[Case]) -> None:
    assert len(cases) > 15
    whole, lean = plan_of(everything=True), plan_of(everything=False)
    assert [case.shape.id for case in cases if assessed(case, whole) != assessed(case, lean)] == []


def test_less_is_filled_than_could_be() -> None:
    choices = tuple(PACK.plan.states.choices.items())
    filled, whole = (StatesPlan(PACK, everything=e).filling(choices) for e in (False, True))
    assert sum(map(len, filled.others.values())) < sum(map(len, whole.others.values()))
