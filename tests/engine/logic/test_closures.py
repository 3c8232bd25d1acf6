"""The reader made of closures gives the specification's answers."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from support.program_strategies import Programs, programs, random_node, random_program, random_visit, variable
from support.seeds import EACH, seeds, several

from layette.engine.logic.closures import FAILS, HOLDS, OPEN, ClosureReader, answer_of
from layette.engine.logic.conditions import Truth, evaluate
from layette.engine.logic.program import Program
from layette.engine.logic.reference import ReferenceReader

VARIABLES = tuple(variable(f"f{k}", size, ordered=k % 2 == 0) for k, size in enumerate((3, 2, 4, 3)))
MEANING = {FAILS: Truth(must=False, may=False), OPEN: Truth(must=False, may=True), HOLDS: Truth(must=True, may=True)}


@settings(max_examples=2000 // EACH, deadline=None)
@given(programs())
def test_closures_read_as_the_reference(drawn: Programs) -> None:
    for program, states in drawn.with_visit():
        assert ClosureReader(program).read(states) == ReferenceReader(program).read(states)


@settings(max_examples=2000 // EACH, deadline=None)
@given(seeds)
def test_a_closure_answers_as_the_definition(seed: int) -> None:
    """Any tree, with complements anywhere in it; a program's trees have none left."""
    for rng in several(seed):
        node = random_node(rng, range(4), VARIABLES, rng.randrange(5))
        states = random_visit(rng, Program(VARIABLES, ()))
        assert MEANING[answer_of(node)(states)] == evaluate(node, states)


@pytest.mark.parametrize("seed", range(3))
def test_a_large_program_reads_the_same(seed: int) -> None:
    rng = random.Random(seed)
    program = random_program(rng, findings=40, rules=150, depth=2)
    closures, reference = ClosureReader(program), ReferenceReader(program)
    for _ in range(20):
        states = random_visit(rng, program)
        before = list(states)
        assert closures.read(states) == reference.read(states)
        assert states == before
