"""The order of rules and the rings among names: against their plain definitions, and on chains without end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from hypothesis import given
from hypothesis import strategies as st
from support.program_strategies import NOTHING, rule

from layette.engine.logic.conditions import AllOf, Among
from layette.engine.logic.program import YES, CompiledRule
from layette.engine.pack.checks.rings import in_rings
from layette.engine.pack.order import in_order

VARIABLES = 5
FULL = [0b11] * VARIABLES
SETS = st.sets(st.integers(0, VARIABLES - 1), max_size=3)
RULES = st.lists(st.tuples(SETS, SETS), max_size=12)
"""For each rule, the conclusions that it tests and those that it concludes."""

NAMES = "abcdef"
GRAPHS = st.dictionaries(st.sampled_from(NAMES), st.lists(st.sampled_from(NAMES), max_size=3))


def made(written: Sequence[tuple[set[int], set[int]]]) -> list[CompiledRule]:
    return [
        rule(k, NOTHING, AllOf(tuple(Among(var, YES) for var in sorted(tested))), FULL, concludes=tuple(concluded))
        for k, (tested, concluded) in enumerate(written)
    ]


def by_waves(written: Sequence[tuple[set[int], set[int]]]) -> tuple[list[int], list[int]]:
    """Return the order by its definition: again and again all rules whose concluders all stand already."""
    order: list[int] = []
    left = list(range(len(written)))
    while True:
        unmet = {var for k in left for var in written[k][1]}
        wave = [k for k in left if not written[k][0] & unmet]
        if not wave:
            return order, left
        order += wave
        left = [k for k in left if k not in wave]


@given(written=RULES)
def test_rules_stand_in_waves_and_as_written_where_free(written: list[tuple[set[int], set[int]]]) -> None:
    assert in_order(made(written)) == by_waves(written)


def test_a_chain_of_conclusions_is_followed_to_its_end() -> None:
    """Written backwards, so that each rule waits for the next."""
    length = 5000
    full = [0b11] * (length + 1)
    chain = [rule(k, NOTHING, Among(k, YES), full, concludes=(k + 1,)) for k in range(length)]
    assert in_order(chain[::-1]) == (list(range(length))[::-1], [])


def reachable(name: str, leads_to: Mapping[str, Sequence[str]]) -> set[str]:
    found: set[str] = set()
    while new := {b for a in {name, *found} for b in leads_to.get(a, ())} - found:
        found |= new
    return found


@given(leads_to=GRAPHS)
def test_a_name_is_in_a_ring_if_it_can_be_reached_from_itself(leads_to: dict[str, list[str]]) -> None:
    assert in_rings(leads_to) == {name for name in NAMES if name in reachable(name, leads_to)}


def test_a_long_chain_is_no_ring_until_its_end_leads_back() -> None:
    length = 5000
    chain = {str(k): [str(k + 1)] for k in range(length)}
    assert in_rings(chain) == frozenset()
    assert in_rings({**chain, str(length): ["1"]}) == {str(k) for k in range(1, length + 1)}
