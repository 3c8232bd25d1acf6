"""Readers are shared by threads: no answer is another visit's, and each reader of a pack is built once."""

from __future__ import annotations

import random
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from support.program_strategies import random_program, random_visit
from support.small_pack import FOLDER, visit

from layette.engine import api, load_pack
from layette.engine.logic import readers as kinds
from layette.engine.logic.closures import ClosureReader
from layette.engine.logic.native import NativeReader
from layette.engine.logic.program import Reader
from layette.engine.logic.reference import ReferenceReader
from layette.engine.logic.rete import ReteReader, rete_available

THREADS, VISITS, ROUNDS = 8, 50, 5
RNG = random.Random(11)
PROGRAM = random_program(RNG, findings=12, rules=30)


KINDS = [NativeReader, ClosureReader, *([ReteReader] if rete_available() else [])]


@pytest.mark.parametrize("kind", KINDS)
def test_eight_threads_get_their_own_answers(kind: type[NativeReader] | type[ClosureReader] | type[ReteReader]) -> None:
    reader: Reader = kind(PROGRAM)
    visits = [random_visit(RNG, PROGRAM) for _ in range(VISITS)]
    right = [ReferenceReader(PROGRAM).read(states) for states in visits]

    def read_all(seed: int) -> int:
        order = [k for k in range(VISITS) for _ in range(ROUNDS)]
        random.Random(seed).shuffle(order)
        return sum(reader.read(visits[k]) != right[k] for k in order)

    with ThreadPoolExecutor(THREADS) as pool:
        assert list(pool.map(read_all, range(THREADS))) == [0] * THREADS


def test_sixteen_threads_on_a_fresh_pack_build_each_reader_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """All of them find no reader there, wait for the one that builds it, and read with that one."""
    built: Counter[str] = Counter()
    begin = threading.Barrier(16)

    def counted(name: str, *parts: Any) -> Reader:
        built[name] += 1
        time.sleep(0.05)  # long enough for every other thread to look whether the reader is there
        return build(name, *parts)

    build = kinds.build
    monkeypatch.setattr(api, "build", counted)
    pack, flat = load_pack(FOLDER), visit({"red_reflex.left": "white"})

    def assessed(_: int) -> str:
        begin.wait(timeout=60)
        return pack.assess(flat).to_json()

    with ThreadPoolExecutor(16) as pool:
        answers = set(pool.map(assessed, range(16)))
    assert built == dict.fromkeys(kinds.usual(), 1)
    assert len(answers) == 1
