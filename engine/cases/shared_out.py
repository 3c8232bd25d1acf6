"""Work shared out among forked processes, each of which has all that was loaded before."""

from __future__ import annotations

import multiprocessing
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar, cast

T = TypeVar("T")

_WORK: Callable[[int], object] | None = None
"""What is being shared out: a fork finds it here, so that neither it nor the pack has to be pickled."""


def shared_out(work: Callable[[int], T], processes: int) -> list[T]:
    """Return ``[work(0), work(1), …]``, one share a process; here, one after another, where nothing can be forked.

    What ``work`` returns must pickle; what it raises is raised here.
    """
    if processes == 1 or "fork" not in multiprocessing.get_all_start_methods():
        return [work(share) for share in range(processes)]
    global _WORK
    _WORK = work
    try:
        with ProcessPoolExecutor(processes, multiprocessing.get_context("fork")) as pool:
            return list(pool.map(cast("Callable[[int], T]", _share), range(processes)))
    finally:
        _WORK = None


def _share(share: int) -> object:
    assert _WORK is not None
    return _WORK(share)
