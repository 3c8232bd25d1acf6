"""Visits in codes give the planes, and so the answers, of the states that the codes stand for."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.program_strategies import Programs, programs, random_program, random_visit
from support.seeds import EACH

from layette.engine.cohort.coded import Coded, PlaneMaker, dtype_for, read_coded, read_rows
from layette.engine.logic.conditions import STATUSES, State
from layette.engine.logic.planes import PlanesReader, plane_of, planes_of_states
from layette.engine.logic.program import Program
from layette.engine.logic.reference import ReferenceReader


def in_codes(rng: random.Random, column: list[State], full: State, with_known: bool) -> Coded:
    """Return a column in codes of any order, some standing for a state that no visit has, some for the same."""
    states = [*{*column}, full, rng.randrange(1, full + 1)] * 2
    rng.shuffle(states)
    codes = [rng.choice([k for k, state in enumerate(states) if state == one]) for one in column]
    known = None
    if with_known:
        known = plane_of(np.array([state != full for state in column], bool))
        codes = [rng.randrange(len(states)) if state == full else k for k, state in zip(codes, column, strict=True)]
    return Coded(np.array(codes, dtype_for(len(states))), tuple(states), known)


@settings(max_examples=300 // EACH, deadline=None)
@given(programs(), st.booleans())
def test_codes_of_any_order_read_as_the_states_that_they_stand_for(drawn: Programs, with_known: bool) -> None:
    for program, visits, rng in drawn.with_cohort(150):
        codes_read_as_the_states(program, visits, rng, with_known)


def codes_read_as_the_states(program: Program, visits: list[list[State]], rng: random.Random, with_known: bool) -> None:
    reader, reference, cut = PlanesReader(program), ReferenceReader(program), rng.randrange(len(visits) + 1)
    wanted = [reference.read(states).statuses for states in visits]
    blocks = [
        (
            {
                var: in_codes(rng, [states[var] for states in part], program.full[var], with_known)
                for var in reader.asked
            },
            len(part),
        )
        for part in (visits[:cut], visits[cut:])
    ]
    found: list[tuple[object, ...]] = []
    for reading in read_coded(reader, blocks):
        codes = [reading.codes(rule) for rule in range(len(program.rules))]
        found += [tuple(STATUSES[column[v]] for column in codes) for v in range(reading.visits)]
    assert found == wanted


@settings(max_examples=100 // EACH, deadline=None)
@given(programs())
def test_rows_of_states_read_as_one_by_one(drawn: Programs) -> None:
    for program, visits, _ in drawn.with_cohort(150):
        reader = PlanesReader(program)
        by_row = read_rows(reader, visits)
        slowly = reader.read(planes_of_states(reader, visits), len(visits))
        for rule in range(len(program.rules)):
            assert (by_row.codes(rule) == slowly.codes(rule)).all()
        assert (by_row.counts() == slowly.counts()).all()


def test_a_variable_that_is_left_out_is_unknown() -> None:
    rng = random.Random(5)
    program = next(made for made in map(_program, range(99)) if len(PlanesReader(made).asked) > 2)
    reader = PlanesReader(program)
    visits = [random_visit(rng, program) for _ in range(70)]
    left_out = min(reader.asked)
    for states in visits:
        states[left_out] = program.full[left_out]
    coded = {
        var: in_codes(rng, [states[var] for states in visits], program.full[var], False)
        for var in reader.asked
        if var != left_out
    }
    found = next(read_coded(reader, [(coded, len(visits))]))
    assert (found.counts() == read_rows(reader, visits).counts()).all()


def _program(seed: int) -> Program:
    return random_program(random.Random(seed))


@pytest.mark.parametrize("states", [300, 70_000])
def test_more_states_than_a_byte_can_number(states: int) -> None:
    program = next(made for made in map(_program, range(99)) if PlanesReader(made).asked)
    reader = PlanesReader(program)
    var, tests = next(iter(reader.asked.items()))
    meant = tuple(1 + k % program.full[var] for k in range(states))
    numbers = np.arange(states - 100, states)
    coded = Coded(numbers.astype(dtype_for(states)), meant)
    planes = PlaneMaker(reader).planes({var: coded}, 100)[var]
    for test, plane in zip(tests, planes, strict=True):
        bits = np.unpackbits(plane.view(np.uint8), count=100, bitorder="little")
        assert [bool(bit) for bit in bits] == [test.holds(meant[k]) for k in numbers]
