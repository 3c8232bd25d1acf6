"""Random programs and random visits for every reader's tests.

A program is drawn as a list of raw conditions and compiled here the way the loader does it: `authored`
as drawn, `applies` and `when` in normal form. Variables come in the kinds that packs have: categories,
numbers (ordered cells), flags, conclusions; atom 0 of a finding is "does not apply".
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hypothesis import strategies as st
from support.seeds import seeds, several

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, State
from layette.engine.logic.normal_form import normal_form
from layette.engine.logic.program import CompiledRule, Program, Variable

NOTHING = AllOf(())


def variable(key: str, size: int, *, ordered: bool) -> Variable:
    return Variable(key, ("na", *(f"{key}.{k}" for k in range(1, size))), ordered)


def flag(key: str) -> Variable:
    return Variable(key, ("no", "yes"), ordered=False)


def rule(
    number: int,
    applies: Node,
    when: Node,
    full: Sequence[State],
    replacements: Sequence[Node] = (),
    concludes: tuple[int, ...] = (),
    group: str = "one",
) -> CompiledRule:
    """Compile one rule as the loader does."""
    return CompiledRule(
        id=f"r{number}",
        group=group,
        applies=normal_form(applies, full),
        when=normal_form(when, full),
        authored=AllOf((applies, when)),
        replacements=tuple(normal_form(node, full) for node in replacements),
        authored_replacements=tuple(replacements),
        concludes=concludes,
    )


# One generator serves Hypothesis, the soak and the benchmarks.


def random_mask(rng: random.Random, var: Variable) -> State:
    """A run of cells, or a set of values; seldom empty or full; "does not apply" seldom among them."""
    size = len(var.atoms)
    if not var.ordered:
        return rng.randrange(0, var.full + 1) if rng.random() < 0.3 else 1 << rng.randrange(size)
    low, high = sorted((rng.randrange(1, size), rng.randrange(1, size)))
    mask = (1 << high + 1) - (1 << low)
    if rng.random() < 0.1:
        mask = var.full & ~mask
    return mask | (rng.random() < 0.1)


def random_node(rng: random.Random, among: Sequence[int], variables: Sequence[Variable], depth: int) -> Node:
    """A condition over the variables numbered ``among``."""
    roll = rng.random()
    if depth == 0 or roll < 0.35:
        var = rng.choice(among)
        return Among(var, random_mask(rng, variables[var]))
    if roll < 0.5:
        return Not(random_node(rng, among, variables, depth - 1))
    parts = tuple(random_node(rng, among, variables, depth - 1) for _ in range(rng.choice((0, 1, 2, 2, 3, 3))))
    return AllOf(parts) if roll < 0.75 else AnyOf(parts)


def random_program(rng: random.Random, findings: int = 6, rules: int = 8, depth: int = 3) -> Program:
    """Rules over findings and over earlier conclusions, some with guards and replacements."""
    known = [_random_variable(rng, f"f{k}") for k in range(findings)]
    conclusions = rng.randrange(0, max(2, rules // 4))
    variables = (*known, *(flag(f"c{k}") for k in range(conclusions)))
    full = [v.full for v in variables]
    numbers = tuple(range(findings, len(variables)))
    # A rule of place p may conclude variable n and use those below it, so that no ring can arise.
    places = sorted(rng.randrange(-1, conclusions) if rng.random() < 0.8 else conclusions for _ in range(rules))
    made = [_random_rule(rng, k, place, findings, variables, full, depth) for k, place in enumerate(places)]
    return Program(variables, tuple(made), numbers)


def _random_variable(rng: random.Random, key: str) -> Variable:
    kind = rng.random()
    if kind < 0.2:
        return flag(key)
    return variable(key, rng.randrange(2, 9), ordered=kind > 0.6)


def _random_rule(
    rng: random.Random,
    number: int,
    place: int,
    findings: int,
    variables: Sequence[Variable],
    full: Sequence[State],
    depth: int,
) -> CompiledRule:
    usable = range(findings + max(0, min(place, len(variables) - findings)))
    # Few variables a rule, so that repeats of one variable inside a rule are common.
    among = rng.sample(usable, min(len(usable), rng.randrange(1, 5)))
    concludes = (findings + place,) if 0 <= place < len(variables) - findings else ()
    applies = NOTHING if rng.random() < 0.5 else random_node(rng, among, variables, 1)
    replaced_by = 0 if concludes or rng.random() < 0.6 else rng.randrange(1, 3)
    return rule(
        number,
        applies,
        random_node(rng, among, variables, depth),
        full,
        [random_node(rng, among, variables, 2) for _ in range(replaced_by)],
        concludes,
        rng.choice(("one", "two", "three")),
    )


def random_state(rng: random.Random, var: Variable) -> State:
    """Exact, unknown, coarse, an interval, or "does not apply" alone or beside others."""
    roll, size = rng.random(), len(var.atoms)
    if roll < 0.2:
        return var.full
    if roll < 0.65:
        return 1 << rng.randrange(size)
    if not var.ordered:
        return rng.randrange(1, var.full + 1)
    low, high = sorted((rng.randrange(1, size), rng.randrange(1, size)))
    return (1 << high + 1) - (1 << low) | (rng.random() < 0.2)


def random_visit(rng: random.Random, program: Program) -> list[State]:
    """One visit's states; conclusions are unknown, as readers are given them."""
    states = program.unknown
    for k, var in enumerate(program.variables):
        if k not in program.conclusions:
            states[k] = random_state(rng, var)
    return states


# The sizes are Hypothesis's to shrink; what fills them comes from a seed.


@dataclass(frozen=True)
class Programs:
    """Random programs of one size, each made when it is asked for."""

    findings: int
    rules: int
    depth: int
    seed: int

    def __iter__(self) -> Iterator[Program]:
        return (program for program, _ in self.with_generator())

    def with_generator(self) -> Iterator[tuple[Program, random.Random]]:
        """Yield each program with a generator for what is read by it."""
        for rng in several(self.seed):
            yield random_program(rng, self.findings, self.rules, self.depth), rng

    def with_visit(self) -> Iterator[tuple[Program, list[State]]]:
        """Yield each program with one visit to it."""
        return ((program, random_visit(rng, program)) for program, rng in self.with_generator())

    def with_cohort(self, most: int) -> Iterator[tuple[Program, list[list[State]], random.Random]]:
        """Yield each program with a cohort of its own size, up to ``most`` visits, and its generator."""
        for program, rng in self.with_generator():
            yield program, [random_visit(rng, program) for _ in range(rng.randrange(most + 1))], rng


def programs(findings: int = 5, rules: int = 6, depth: int = 3) -> st.SearchStrategy[Programs]:
    """Random programs of at most these sizes."""
    return st.builds(Programs, st.integers(1, findings), st.integers(1, rules), st.integers(0, depth), seeds)
