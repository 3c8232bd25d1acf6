"""The second reader gives the specification's answers."""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest
from support.program_strategies import NOTHING, flag, random_program, random_visit, rule, variable

from layette.engine.logic.conditions import AllOf, Among, AnyOf, Node, Not, Status
from layette.engine.logic.program import NO, YES, Program
from layette.engine.logic.reference import ReferenceReader
from layette.engine.logic.rete import ReteReader, rete_available
from layette.engine.logic.rete_terms import MAX_PENDING, MAX_WAYS, Fact, at_most, check_limits, masks_of, sides_of

needs_durable = pytest.mark.skipif(
    not rete_available(), reason="durable-rules is not installed (it needs a C compiler and Python < 3.13)"
)
PROGRAMS, VISITS = 60, 40


@needs_durable
def test_rete_reads_as_the_reference() -> None:
    """Building a program costs more than reading a visit: few programs, many visits each."""
    read = 0
    for seed in range(PROGRAMS):
        rng = random.Random(seed)
        program = random_program(rng, findings=rng.randrange(1, 9), rules=rng.randrange(1, 16))
        rete, reference = ReteReader(program), ReferenceReader(program)
        for _ in range(VISITS):
            states = random_visit(rng, program)
            assert rete.read(states) == reference.read(states), f"program {seed}, states {states}"
            read += 1
    assert read >= 2000


@needs_durable
@pytest.mark.parametrize("seed", range(3))
def test_a_large_program_needs_several_rulesets_and_reads_the_same(seed: int) -> None:
    rng = random.Random(seed)
    program = random_program(rng, findings=40, rules=150, depth=2)
    rete, reference = ReteReader(program), ReferenceReader(program)
    for _ in range(20):
        states = random_visit(rng, program)
        assert rete.read(states) == reference.read(states)


@needs_durable
def test_an_empty_program_and_an_empty_visit() -> None:
    assert ReteReader(Program((), ())).read([]).statuses == ()
    program = _program([Among(0, 0b0100)])
    assert ReteReader(program).read(program.unknown).statuses == (Status.UNDECIDED,)


@needs_durable
def test_a_row_for_each_cell_of_a_long_table() -> None:
    """More rows on one number than one fact's tests may wait at once (error 303) or one ruleset may hold."""
    cells = 150
    rows = [Among(0, 1 << k) for k in range(1, cells)] + [Among(0, (1 << cells) - (1 << k)) for k in range(1, cells)]
    program = _program(rows, size=cells, ordered=True)
    rete, reference = ReteReader(program), ReferenceReader(program)
    for state in (*(1 << k for k in range(cells)), 0b111 << 70, (1 << cells) - 2, 1 | 1 << 5):
        assert rete.read([state]) == reference.read([state])


@needs_durable
def test_a_guard_shared_by_more_rules_than_one_list_holds() -> None:
    """Error 108 in one ruleset."""
    variables = (variable("guard", 3, ordered=False), *(flag(f"f{k}") for k in range(300)))
    full = [v.full for v in variables]
    rules = tuple(rule(k, Among(0, 0b010), Among(k + 1, YES), full) for k in range(300))
    program = Program(variables, rules)
    states = [0b010, *(YES for _ in rules)]
    assert ReteReader(program).read(states) == ReferenceReader(program).read(states)


@needs_durable
def test_a_gap_shared_by_more_conjunctions_than_may_wait() -> None:
    """Error 303 in one ruleset: durable-rules does not share `$or`."""
    variables = (variable("weight", 9, ordered=True), *(flag(f"f{k}") for k in range(70)))
    full = [v.full for v in variables]
    beside = Among(0, full[0] & ~(1 << 4))
    program = Program(variables, tuple(rule(k, NOTHING, AllOf((beside, Among(k + 1, YES))), full) for k in range(70)))
    rete, reference = ReteReader(program), ReferenceReader(program)
    for weight in (1 << 2, 1 << 4, 0b11 << 3, 0b110, full[0]):
        assert rete.read([weight, *[YES] * 70]) == reference.read([weight, *[YES] * 70])


def test_no_two_names_or_ids_of_facts_share_a_hash() -> None:
    """durable-rules tells names, and the ids of facts, apart by a hash of 32 bits alone."""
    own = ["id", "sid", "$s", "$forward"]
    numbers = range(1500)
    ordered = [f"{name}{number}" for number in numbers for name in ("n", "lo", "hi")]
    others = [f"x{k}_{number}" for number in numbers for k in range(MAX_PENDING + 1)]
    for names in ([*own, *ordered, *others], [str(number) for number in numbers]):
        assert len({_hash(name) for name in names}) == len(names)


def _hash(name: str) -> int:
    found = 2166136261
    for byte in name.encode():
        found = (found ^ byte) * 16777619 & 0xFFFFFFFF
    return found


@needs_durable
def test_many_values_of_one_finding() -> None:
    size = 80
    program = _program([Among(0, 1 << 3 | 1 << 70), Not(Among(0, 1 << 3)), Among(0, (1 << 40) - 1)], size=size)
    rete, reference = ReteReader(program), ReferenceReader(program)
    for state in (*(1 << k for k in range(size)), 0b1010 << 60, (1 << 39) - 2, (1 << size) - 2):
        assert rete.read([state]) == reference.read([state])


@needs_durable
def test_many_sets_of_many_values_of_one_finding() -> None:
    """As many classes of values in a ruleset as may be, and the tests of all of them in every combination."""
    rng = random.Random(3)
    variables = (variable("finding", 60, ordered=False),)
    full = [v.full for v in variables]
    masks = [rng.randrange(1, full[0]) for _ in range(150)]
    program = Program(variables, tuple(rule(k, NOTHING, Among(0, mask), full) for k, mask in enumerate(masks)))
    rete, reference = ReteReader(program), ReferenceReader(program)
    for state in (*(1 << k for k in range(60)), *masks, *(full[0] & ~mask for mask in masks)):
        assert rete.read([state]) == reference.read([state])


@needs_durable
def test_more_findings_than_one_ruleset_holds() -> None:
    variables = tuple(flag(f"f{k}") for k in range(1100))
    full = [v.full for v in variables]
    program = Program(variables, tuple(rule(k, NOTHING, Among(k, YES), full) for k in range(1100)))
    states = [YES if k % 3 else NO for k in range(1100)]
    assert ReteReader(program).read(states) == ReferenceReader(program).read(states)


@needs_durable
def test_visits_in_which_no_conjunction_matches() -> None:
    """durable-rules frees unset memory after a first visit in which no rule ran; the reader sees that one runs."""
    variables = tuple(variable(f"f{k}", 4, ordered=False) for k in range(40))
    full = [v.full for v in variables]
    crossed = [(0b0110, 0b1100), (0b1100, 0b0110)]  # of each finding, a test that must hold, and one that may
    pairs = [AllOf((Among(k, one), Among(39 - k, two))) for k in range(20) for one, two in crossed]
    rete = ReteReader(Program(variables, tuple(rule(k, NOTHING, pair, full) for k, pair in enumerate(pairs))))
    for _ in range(300):
        assert set(rete.read([0b0110] * 40).statuses) == {Status.UNDECIDED}


@needs_durable
def test_a_visit_leaves_nothing_to_the_next() -> None:
    program = _program([Among(0, 0b0100)])
    reader = ReteReader(program)
    assert reader.read([0b0100]).statuses == (Status.FIRED,)
    assert reader.read([0b1111]).statuses == (Status.UNDECIDED,)
    assert reader.read([0b0010]).statuses == (Status.RULED_OUT,)


def test_rules_inside_the_limits_draw_no_message() -> None:
    program = random_program(random.Random(5), findings=8, rules=30)
    assert [check_limits(r, program.variables) for r in program.rules] == [[]] * 30


def test_what_a_rule_asks_at_most_is_never_less_than_it_asks() -> None:
    """Most rules lie within the limits by these bounds alone; the others are laid out and counted."""
    within = rules = 0
    for seed in range(300):
        rng = random.Random(seed)
        program = random_program(rng, findings=rng.randrange(1, 9), rules=rng.randrange(1, 12), depth=rng.randrange(4))
        for one in program.rules:
            sides = [*sides_of(one, program.full)]
            ways = [way for side in sides for way in side]
            facts = [Fact(var, program.variables[var], masks) for var, masks in masks_of(ways).items()]
            most, findings, waiting, gaps = at_most(one, program.variables)
            assert max(map(len, sides)) <= most
            assert max(map(len, ways), default=0) <= findings
            assert max((fact.pending for fact in facts), default=0) <= waiting
            assert max((fact.alternatives for fact in facts), default=0) <= gaps
            rules, within = rules + 1, within + (most <= MAX_WAYS)
    assert rules >= within > rules / 2 > 500


def test_too_many_conjunctions_are_named_with_the_part_to_split() -> None:
    pairs = tuple(AnyOf((Among(2 * k, YES), Among(2 * k + 1, YES))) for k in range(7))
    (message,) = _limits(AllOf(pairs), 14)
    assert "r0 needs 128 conjunctions; the limit is 64" in message
    assert "give the part on 'f0, f1' a conclusion of its own" in message


def test_hopelessly_many_conjunctions_are_not_counted_out() -> None:
    pairs = tuple(AnyOf((Among(2 * k, YES), Among(2 * k + 1, YES))) for k in range(40))
    (message, *_) = _limits(AllOf(pairs), 80)
    assert "more than 400 conjunctions" in message


def test_a_conjunction_over_too_many_findings() -> None:
    messages = _limits(AllOf(tuple(Among(k, YES) for k in range(17))), 17)
    assert any("17 findings in one conjunction; the limit is 16" in message for message in messages)


def test_too_many_ranges_of_one_number() -> None:
    striped = sum(1 << k for k in range(1, 30, 2))
    variables = (variable("weight", 31, ordered=True),)
    full = [v.full for v in variables]
    assert any(
        "comparisons of 'weight'" in m for m in check_limits(rule(0, NOTHING, Among(0, striped), full), variables)
    )


def _limits(when: Node, flags: int) -> list[str]:
    variables = [flag(f"f{k}") for k in range(flags)]
    return check_limits(rule(0, NOTHING, when, [v.full for v in variables]), variables)


def _program(conditions: Sequence[Node], size: int = 4, ordered: bool = False) -> Program:
    variables = (variable("finding", size, ordered=ordered),)
    full = [v.full for v in variables]
    return Program(variables, tuple(rule(k, NOTHING, when, full) for k, when in enumerate(conditions)))
