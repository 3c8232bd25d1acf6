"""The laws of three-valued conditions, on the specification itself, by enumeration of small domains."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hypothesis import given, settings
from hypothesis import strategies as st
from support.program_strategies import Programs, programs, random_node, random_visit, variable
from support.seeds import EACH, seeds, several

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State, Status, evaluate
from layette.engine.logic.normal_form import normal_form
from layette.engine.logic.program import Program
from layette.engine.logic.reference import ReferenceReader

VARIABLES = tuple(variable(f"f{k}", size, ordered=k % 2 == 0) for k, size in enumerate((3, 2, 4, 3)))
FULL = [v.full for v in VARIABLES]


def atoms(state: State) -> list[State]:
    return [1 << k for k in range(state.bit_length()) if state >> k & 1]


def completions(states: Sequence[State]) -> Iterator[tuple[State, ...]]:
    return itertools.product(*map(atoms, states))


@dataclass(frozen=True)
class Conditions:
    """Random conditions of one depth, with states of their variables; each made when it is asked for."""

    depth: int
    seed: int

    def __iter__(self) -> Iterator[tuple[Node, list[State]]]:
        for rng in several(self.seed):
            node = random_node(rng, range(len(VARIABLES)), VARIABLES, self.depth)
            yield node, random_visit(rng, Program(VARIABLES, ()))


CONDITIONS = st.builds(Conditions, st.integers(0, 4), seeds)


def read_once_tree(rng: random.Random) -> Node:
    """A condition in which every variable occurs once."""
    parts: list[Node] = [Among(k, rng.randrange(1, v.full)) for k, v in enumerate(VARIABLES)]
    rng.shuffle(parts)
    while len(parts) > 1:
        joined = rng.choice((AllOf, AnyOf))((parts.pop(), parts.pop()))
        parts.insert(rng.randrange(len(parts) + 1), Not(joined) if rng.random() < 0.4 else joined)
    return parts[0]


@settings(max_examples=1000 // EACH, deadline=None)
@given(CONDITIONS)
def test_must_holds_in_every_completion_and_not_may_in_none(drawn: Conditions) -> None:
    for node, states in drawn:
        for tree in (node, normal_form(node, FULL)):
            answer = evaluate(tree, states)
            found = {evaluate(tree, whole).must for whole in completions(states)}
            assert not answer.must or found == {True}
            assert answer.may or found == {False}


@settings(max_examples=1000 // EACH, deadline=None)
@given(CONDITIONS, seeds)
def test_narrowing_a_state_never_takes_an_answer_back(drawn: Conditions, seed: int) -> None:
    for (node, states), rng in zip(drawn, several(seed), strict=True):
        before, after = evaluate(node, states), evaluate(node, narrowed(rng, states))
        assert after.must >= before.must
        assert after.may <= before.may


@settings(max_examples=1000 // EACH, deadline=None)
@given(CONDITIONS)
def test_exact_states_leave_nothing_open(drawn: Conditions) -> None:
    for node, states in drawn:
        answer = evaluate(node, [atoms(state)[0] for state in states])
        assert answer.must == answer.may


@settings(max_examples=500 // EACH, deadline=None)
@given(seeds)
def test_kleene_is_exact_where_every_variable_occurs_once(seed: int) -> None:
    for rng in several(seed):
        node, states = read_once_tree(rng), random_visit(rng, Program(VARIABLES, ()))
        found = {evaluate(node, whole).must for whole in completions(states)}
        answer = evaluate(node, states)
        assert (answer.must, answer.may) == (found == {True}, True in found)


@settings(max_examples=1000 // EACH, deadline=None)
@given(CONDITIONS)
def test_normal_form_is_never_less_sharp_and_agrees_on_exact_states(drawn: Conditions) -> None:
    for node, states in drawn:
        normal = normal_form(node, FULL)
        written, merged = evaluate(node, states), evaluate(normal, states)
        assert merged.must >= written.must
        assert merged.may <= written.may
        assert all(evaluate(node, whole) == evaluate(normal, whole) for whole in completions(states))


@settings(max_examples=500 // EACH, deadline=None)
@given(CONDITIONS)
def test_a_complement_mirrors(drawn: Conditions) -> None:
    for node, states in drawn:
        for tree in (Not(node), normal_form(Not(node), FULL)):
            exact = [atoms(state)[0] for state in states]
            assert evaluate(tree, exact).must is not evaluate(node, exact).must


ALLOWED = {
    Status.FIRED: {Status.FIRED},
    Status.RULED_OUT: {Status.RULED_OUT},
    Status.PROVISIONAL: {Status.PROVISIONAL, Status.FIRED, Status.RULED_OUT},  # the last by a replacement
    Status.UNDECIDED: set(Status),
}
"""What each status may become where more is known."""


@settings(max_examples=1000 // EACH, deadline=None)
@given(programs(), seeds)
def test_learning_more_changes_a_rule_only_as_named(drawn: Programs, seed: int) -> None:
    for (program, states), rng in zip(drawn.with_visit(), several(seed), strict=True):
        reader = ReferenceReader(program)
        before = reader.read(states).statuses
        after = reader.read(narrowed(rng, states)).statuses
        assert all(new in ALLOWED[old] for old, new in zip(before, after, strict=True))


@settings(max_examples=500 // EACH, deadline=None)
@given(programs(findings=3, rules=4))
def test_fired_rules_fire_in_every_completion_and_ruled_out_ones_in_none(drawn: Programs) -> None:
    for program, states in drawn.with_visit():
        reader = ReferenceReader(program)
        before = reader.read(states).statuses
        findings = [state for k, state in enumerate(states) if k not in program.conclusions]
        unknown = states[len(findings) :]
        for whole in completions(findings):
            after = reader.read([*whole, *unknown]).statuses
            assert set(after) <= {Status.FIRED, Status.RULED_OUT}
            settled = zip(before, after, strict=True)
            assert all(old is new for old, new in settled if old in (Status.FIRED, Status.RULED_OUT))


def narrowed(rng: random.Random, states: Sequence[State]) -> list[State]:
    """States of which more is known: some possibilities of some variables are gone."""
    return [sum(rng.sample(inside, rng.randrange(1, len(inside) + 1))) for inside in map(atoms, states)]
