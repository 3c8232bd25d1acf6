"""What no rule asks for under the settings in force is left alone, and that changes no answer."""

from __future__ import annotations

import random
from functools import cache

import pytest
from support.program_strategies import random_program
from support.sweeps import every_case

from layette.engine import load_pack
from layette.engine.answer.assemble import assemble
from layette.engine.answer.parts.context import Context
from layette.engine.answer.parts.plan import AnswerPlan
from layette.engine.cases.written import Case
from layette.engine.logic.conditions import AllOf, State, Status, variables
from layette.engine.logic.program import Program
from layette.engine.logic.reference import ReferenceReader
from layette.engine.states.asked import Asked
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


def asked_by_all(program: Program, states: list[State]) -> frozenset[int]:
    """Return what the rules ask for that are not ruled out, each of them read."""
    statuses = ReferenceReader(program).read(states).statuses
    rules = [r for r, status in zip(program.rules, statuses, strict=True) if status is not Status.RULED_OUT]
    return frozenset(variables(AllOf(tuple(n for r in rules for n in (r.applies, r.when, *r.replacements)))))


@pytest.mark.parametrize("seed", range(60))
def test_what_is_asked_under_any_choices_is_what_all_rules_ask(seed: int) -> None:
    """Of a random program, in which any variables but conclusions are the settings."""
    rng = random.Random(seed)
    program = random_program(rng, findings=rng.randrange(2, 9), rules=rng.randrange(2, 30))
    given = [var for var in range(len(program.variables)) if var not in program.conclusions]
    settings = rng.sample(given, rng.randint(1, len(given)))
    asked = Asked(program, settings, ())
    for _ in range(10):
        states = program.unknown
        for var in settings:
            states[var] = 1 << rng.randrange(len(program.variables[var].atoms))
        assert asked.under(states) == asked_by_all(program, states)


def test_what_the_pack_asks_under_any_choices_is_what_all_its_rules_ask() -> None:
    rng, plan = random.Random(1), PACK.plan.states
    numbers = [var for name in PACK.settings for var, _ in plan.variables_of.get(f"setting:{name}", ())]
    asked = Asked(PACK.program, numbers, ())
    ways = set()
    for _ in range(30):
        states = PACK.program.unknown
        for var in numbers:
            states[var] = 1 << rng.randrange(len(PACK.program.variables[var].atoms))
        ways.add(found := asked.under(states))
        assert found == asked_by_all(PACK.program, states)
    assert len(ways) > 5
