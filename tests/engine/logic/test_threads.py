"""Readers are shared by threads: eight of them read one program, and no answer is another visit's."""

from __future__ import annotations

import random
from concurrent.futures import ThreadPoolExecutor

import pytest
from support.program_strategies import random_program, random_visit

from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import Reader
from layette.engine.logic.reference import ReferenceReader
from layette.engine.logic.rete import ReteReader, rete_available

THREADS, VISITS, ROUNDS = 8, 50, 5
RNG = random.Random(11)
PROGRAM = random_program(RNG, findings=12, rules=30)


def readers() -> list[type[NativeReader] | type[ReteReader]]:
    return [NativeReader, ReteReader] if rete_available() else [NativeReader]


@pytest.mark.parametrize("kind", readers())
def test_eight_threads_get_their_own_answers(kind: type[NativeReader] | type[ReteReader]) -> None:
    reader: Reader = kind(PROGRAM)
    visits = [random_visit(RNG, PROGRAM) for _ in range(VISITS)]
    right = [ReferenceReader(PROGRAM).read(states) for states in visits]

    def read_all(seed: int) -> int:
        order = [k for k in range(VISITS) for _ in range(ROUNDS)]
        random.Random(seed).shuffle(order)
        return sum(reader.read(visits[k]) != right[k] for k in order)

    with ThreadPoolExecutor(THREADS) as pool:
        assert list(pool.map(read_all, range(THREADS))) == [0] * THREADS
