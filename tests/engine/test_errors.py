"""Errors go to another process and come back whole."""

from __future__ import annotations

import multiprocessing
import pickle
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor

import pytest
from support.raising import raised

from layette.engine.errors import (
    InputError,
    InputProblem,
    LayetteError,
    PackError,
    PackProblem,
    ReaderFailed,
    ReadersDisagree,
)

PACK = PackError(PackProblem(file, 3, "$.when", "shape", f"fault in {file}") for file in ("b.yaml", "a.yaml"))
INPUT = InputError(
    (InputProblem(f"$.findings.{name}", "unit", "a number without a unit", "3", "kg") for name in ("weight", "length")),
    urgent=["Ophthalmologist: now [eyes.red-reflex-abnormal]"],
)
URGENT = ["An eye: now [eyes.a]"]
READERS = ReadersDisagree({"native": {"eyes.a": "fired"}, "rete": {"eyes.a": "ruled out"}}, "stat", URGENT)
FAILED = ReaderFailed("rete", "RuntimeError", URGENT)
ERRORS = [PACK, INPUT, READERS, FAILED]


def same(one: LayetteError, other: LayetteError) -> bool:
    return type(one) is type(other) and vars(one) == vars(other) and str(one) == str(other)


def test_the_samples_hold_more_than_one_thing_each() -> None:
    assert len(PACK.problems) == len(INPUT.problems) == len(READERS.answers) == 2


@pytest.mark.parametrize("error", ERRORS)
@pytest.mark.parametrize("protocol", range(pickle.HIGHEST_PROTOCOL + 1))
def test_an_error_comes_out_of_a_pickle_as_it_went_in(error: LayetteError, protocol: int) -> None:
    assert same(pickle.loads(pickle.dumps(error, protocol)), error)


def test_a_note_on_an_error_comes_along() -> None:
    noted = PackError(PACK.problems)
    noted.add_note("while the second pack was loaded")
    assert pickle.loads(pickle.dumps(noted)).__notes__ == ["while the second pack was loaded"]


@pytest.fixture(scope="module")
def pool() -> Iterator[ProcessPoolExecutor]:
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as started:
        yield started


@pytest.mark.parametrize("error", ERRORS)
def test_an_error_raised_in_a_pool_is_caught_outside_and_the_pool_goes_on(
    pool: ProcessPoolExecutor, error: LayetteError
) -> None:
    with pytest.raises(type(error)) as caught:
        pool.submit(raised, error).result(timeout=60)
    assert same(caught.value, error)
    assert pool.submit(abs, -7).result(timeout=60) == 7
