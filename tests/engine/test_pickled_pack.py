"""A pack goes to another process after it has assessed, and assesses there to the same bytes."""

from __future__ import annotations

import copy
import multiprocessing
import pickle
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from typing import Any

import pytest
from support.small_pack import FOLDER, visit

from layette.engine import InputError, Pack, load_pack
from layette.engine.logic.readers import usual

VISITS: list[dict[str, Any]] = [
    visit(),
    visit({"red_reflex.left": "white", "cord_attached": "yes"}, sex_at_birth="male"),
    visit({"weight": {"value": 2.7, "unit": "kg"}, "birth_weight": {"value": 3, "unit": "kg"}}),
]
UNUSABLE = visit({"weight": 34, "moon_phase": "full"})


def bytes_of(pack: Pack) -> list[str]:
    return [pack.assess(flat).to_json() for flat in VISITS]


@pytest.fixture(scope="module")
def used() -> Pack:
    """A pack that has assessed, checked and run its cases: all that it remembers is there."""
    pack = load_pack(FOLDER)
    bytes_of(pack)
    pack.run_cases()
    assert {reader.name for reader in pack.readers()} == set(usual())
    return pack


@pytest.fixture(scope="module")
def pool() -> Iterator[ProcessPoolExecutor]:
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as started:
        yield started


def test_a_pack_that_was_pickled_gives_the_same_bytes(used: Pack) -> None:
    again = pickle.loads(pickle.dumps(used))
    assert again.digest == used.digest
    assert bytes_of(again) == bytes_of(used)
    assert again.run_cases().passed == used.run_cases().passed > 0


def test_what_a_pack_remembers_is_not_in_the_pickle(used: Pack) -> None:
    """The generated function, the readers and the plan are made anew: a pickle is as small as that of a fresh pack."""
    assert len(pickle.dumps(used)) < 1.1 * len(pickle.dumps(load_pack(FOLDER)))


def test_a_copy_has_readers_of_its_own(used: Pack) -> None:
    again = copy.copy(used)
    assert again.readers(["native"])[0] is not used.readers(["native"])[0]
    assert bytes_of(again) == bytes_of(used)


def test_a_process_of_a_pool_assesses_to_the_same_bytes(used: Pack, pool: ProcessPoolExecutor) -> None:
    found = [pool.submit(used.assess, flat).result(timeout=120).to_json() for flat in VISITS]
    assert found == bytes_of(used)


def test_every_mistake_of_a_visit_comes_back_from_a_pool_that_goes_on(used: Pack, pool: ProcessPoolExecutor) -> None:
    with pytest.raises(InputError) as here:
        used.assess(UNUSABLE)
    with pytest.raises(InputError) as there:
        pool.submit(used.assess, UNUSABLE).result(timeout=120)
    assert there.value.problems == here.value.problems
    assert len(here.value.problems) == 2
    assert pool.submit(used.assess, VISITS[0]).result(timeout=120).to_json() == bytes_of(used)[0]
