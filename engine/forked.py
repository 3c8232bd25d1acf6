"""Work shared out among forked processes, each of which has all that was loaded before."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from typing import Any, TypeVar, cast

A = TypeVar("A")
T = TypeVar("T")

_WORK: Callable[[Any], object] | None = None
"""What is being shared out: a fork finds it here, so that neither it nor the pack has to be pickled."""


def shared_out(work: Callable[[A], T], items: Iterable[A], processes: int) -> list[T]:
    """Return ``work`` of each item, in their order; here, one after another, where nothing can be forked.

    Items, and what ``work`` returns, must pickle; what it raises is raised here.
    """
    if processes <= 1 or "fork" not in multiprocessing.get_all_start_methods():
        return [work(item) for item in items]
    global _WORK
    _WORK = work
    try:
        with ProcessPoolExecutor(processes, multiprocessing.get_context("fork")) as pool:
            return list(pool.map(cast("Callable[[A], T]", _one), items))
    finally:
        _WORK = None


def _one(item: Any) -> object:
    assert _WORK is not None
    return _WORK(item)
