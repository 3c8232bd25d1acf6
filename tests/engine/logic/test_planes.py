"""Cohorts are read by bit planes with the specification's answers."""

from __future__ import annotations

import random
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from support.program_strategies import NOTHING, Programs, flag, programs, random_program, random_visit, rule
from support.seeds import EACH
from support.sweeps import every_case

from layette.engine.api import load_pack
from layette.engine.logic.conditions import STATUSES, Among, AnyOf, State, evaluate
from layette.engine.logic.native import NativeReader
from layette.engine.logic.planes import (
    BLOCK,
    CohortReading,
    PlanesReader,
    plane_of,
    planes_of_states,
    words_for,
)
from layette.engine.logic.program import NO, YES, Program
from layette.engine.logic.reference import ReferenceReader
from layette.engine.states.facts import Facts


def read(program: Program, visits: list[list[State]]) -> CohortReading:
    reader = PlanesReader(program)
    return reader.read(planes_of_states(reader, visits), len(visits))


@settings(max_examples=500 // EACH, deadline=None)
@given(programs())
def test_planes_read_as_the_reference(drawn: Programs) -> None:
    for program, visits, _ in drawn.with_cohort(130):
        reads_as_the_reference(program, visits)


def reads_as_the_reference(program: Program, visits: list[list[State]]) -> None:
    found, reference = read(program, visits), ReferenceReader(program)
    wanted = [reference.read(states) for states in visits]
    for number, _ in enumerate(program.rules):
        assert [STATUSES[code] for code in found.codes(number)] == [one.statuses[number] for one in wanted]
    for var in program.conclusions:
        not_no, yes = (np.unpackbits(p.view(np.uint8), bitorder="little") for p in found.conclusions[var])
        made = [int(not_no[v]) * NO | int(yes[v]) * YES for v in range(len(visits))]
        assert made == [one.states[var] for one in wanted]


@settings(max_examples=200 // EACH, deadline=None)
@given(programs())
def test_counts_are_those_of_the_reference_in_any_part_of_a_cohort(drawn: Programs) -> None:
    for program, visits, _ in drawn.with_cohort(130):
        counts_are_those_of_the_reference(program, visits)


def counts_are_those_of_the_reference(program: Program, visits: list[list[State]]) -> None:
    found, reference = read(program, visits), ReferenceReader(program)
    every_third = np.arange(len(visits)) % 3 == 0
    for among, part in ((None, visits), (plane_of(every_third), visits[::3])):
        wanted = [reference.read(states) for states in part]
        counts, eligible = found.counts(among), found.eligible(among)
        for number, one in enumerate(program.rules):
            by_status = Counter(reading.statuses[number] for reading in wanted)
            assert [*counts[number]] == [by_status[status] for status in STATUSES]
            told = [evaluate(one.applies, reading.states) for reading in wanted]
            assert [*eligible[number]] == [sum(t.must for t in told), sum(t.may for t in told)]


def test_every_case_of_the_pack_reads_as_native() -> None:
    """Each visit of the worked cases, at states that were made of it by the code of one visit."""
    pack = load_pack()
    program, plan = pack.program, pack.plan.states
    native = NativeReader(program, plan.known_variables)
    given_states, wanted = [], []
    for case in every_case():
        visit = pack.visit_reader().attempt(case.shape.given)
        if visit is not None:
            given_states.append(Facts(plan, visit, {**plan.choices, **visit.settings}).states)
            wanted.append(native.read(given_states[-1]).statuses)
    found = read(program, given_states)
    made = np.array([found.codes(number) for number in range(len(program.rules))]).T
    assert [[STATUSES[code] for code in row] for row in made] == [[*row] for row in wanted]
    assert all((made == code).any() for code in range(4))


def test_variables_that_are_left_out_are_unknown() -> None:
    variables = (flag("fever"), flag("unwell"), flag("told"))
    full = [variable.full for variable in variables]
    rules = (
        rule(0, NOTHING, AnyOf((Among(0, YES), Among(1, YES))), full, concludes=(2,)),
        rule(1, NOTHING, Among(2, YES), full),
    )
    program = Program(variables, rules, conclusions=(2,))
    for varying in (None, {0}):
        reader = PlanesReader(program, varying)
        planes = planes_of_states(reader, [(fever, *full[1:]) for fever in (YES, NO, YES | NO)])
        found = reader.read({0: planes[0]}, 3)
        assert [[STATUSES[code].value for code in found.codes(k)] for k in (0, 1)] == [
            ["fired", "undecided", "undecided"]
        ] * 2
    assert [*found.standing(1)] == [0]


@pytest.mark.parametrize("visits", [0, 1, 63, 64, 65, BLOCK, BLOCK + 1])
def test_blocks_of_any_size_are_read_whole(visits: int) -> None:
    program = Program((flag("fever"),), (rule(0, NOTHING, Among(0, YES), [3]),))
    states = np.resize(np.array([YES, NO, YES | NO], np.uint8), visits)
    reader = PlanesReader(program)
    found = reader.read(planes_of_states(reader, [(int(state),) for state in states]), visits)
    assert all(plane.shape == (words_for(visits),) for plane in found.planes)
    assert [*found.counts()[0]] == [int((states == state).sum()) for state in (NO, YES | NO)] + [
        0,
        int((states == YES).sum()),
    ]


def test_blocks_are_read_one_after_another_in_the_same_memory() -> None:
    rng = random.Random(3)
    program = random_program(rng)
    cohort = [random_visit(rng, program) for _ in range(300)]
    parts = [cohort[:128], cohort[128:129], cohort[129:129], cohort[129:]]
    reader = PlanesReader(program)
    blocks = [(planes_of_states(reader, part), len(part)) for part in parts]
    counts = sum(found.counts() for found in reader.read_blocks(blocks))
    assert (counts == read(program, cohort).counts()).all()


def test_bits_are_counted_with_an_older_numpy_too(monkeypatch: pytest.MonkeyPatch) -> None:
    found = read(Program((flag("fever"),), (rule(0, NOTHING, Among(0, YES), [3]),)), [[1], [2], [2]] * 333 + [[1]])
    counted = found.counts()
    monkeypatch.delattr(np, "bitwise_count", raising=False)
    assert (found.counts() == counted).all()
    assert [*counted[0]] == [334, 0, 0, 666]
