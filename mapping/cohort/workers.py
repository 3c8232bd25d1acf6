"""Parts shared out among processes; a process that dies is replaced, and its part is done once.

A part is done when its account is on the disk, which is written last: whatever was left half-made is made again.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import suppress
from itertools import islice
from pathlib import Path
from typing import Any

from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError, InputProblem
from layette.mapping.cohort.one_visit import Auditor
from layette.mapping.cohort.part import Part, PartWriter, Totals
from layette.mapping.cohort.pseudonyms import Pseudonyms
from layette.mapping.settle import settle

_AHEAD = 2
"""Parts that wait, beside those that are read."""
MOST_DEATHS = 3
"""How often a part may bring down its process before the audit stops."""

_PACK: Pack | None = None
_WRITER: PartWriter | None = None


def done(parts: Iterable[Part], writer: PartWriter, workers: int, source: Sequence[Any]) -> Iterator[Totals]:
    """Write every part, and yield what became of each as it is done, in any order. Raises OSError.

    ``source``: the arguments of `load_pack`, for a platform on which a process cannot be forked.
    """
    settle()
    if workers <= 1:
        yield from (writer.write(part) for part in parts)
        return
    global _PACK
    _PACK = writer.auditor.pack
    try:
        yield from _Shared(iter(parts), writer, workers, source).run()
    finally:
        _PACK = None


class _Shared:
    """The parts that are being read."""

    def __init__(self, parts: Iterator[Part], writer: PartWriter, workers: int, source: Sequence[Any]) -> None:
        self.parts, self.writer, self.workers, self.source = parts, writer, workers, source
        self.waiting: dict[Future[Totals], Part] = {}

    def run(self) -> Iterator[Totals]:
        pool = self._pool()
        try:
            while True:
                pool = self._submit(pool, islice(self.parts, self.workers + _AHEAD - len(self.waiting)))
                if not self.waiting:
                    return
                finished, _ = wait(self.waiting, return_when=FIRST_COMPLETED)
                dead = [future for future in finished if isinstance(future.exception(), BrokenProcessPool)]
                yield from (future.result() for future in finished if future not in dead)
                again = self._again(dead, finished)
                if dead:
                    pool.shutdown(wait=True, cancel_futures=True)
                    for part in again:
                        yield self._alone(part)
                    pool = self._pool()
        finally:
            pool.shutdown(cancel_futures=True)

    def _submit(self, pool: ProcessPoolExecutor, parts: Iterable[Part]) -> ProcessPoolExecutor:
        for part in parts:
            try:
                future = pool.submit(_write, part)
            except BrokenProcessPool:  # it died while nobody waited for it
                pool.shutdown(cancel_futures=True)
                pool = self._pool()
                future = pool.submit(_write, part)
            self.waiting[future] = part
        return pool

    def _again(self, dead: Sequence[Future[Totals]], finished: Iterable[Future[Totals]]) -> list[Part]:
        """Return the parts that were lost with a process; those of other processes fell with it."""
        lost = [self.waiting[future] for future in dead]
        for future in finished:
            del self.waiting[future]
        if dead:  # one dead process brings down the whole pool
            lost += [part for future, part in self.waiting.items() if not _is_done(future)]
            self.waiting = {future: part for future, part in self.waiting.items() if _is_done(future)}
        return sorted(lost, key=lambda part: part.number)

    def _alone(self, part: Part) -> Totals:
        """Read a part by itself, so that none is blamed but the one that brings its process down each time."""
        for _ in range(MOST_DEATHS):
            with self._pool(1) as pool, suppress(BrokenProcessPool):
                return pool.submit(_write, part).result()
        raise _deadly(part)

    def _pool(self, workers: int | None = None) -> ProcessPoolExecutor:
        method = "fork" if "fork" in multiprocessing.get_all_start_methods() else "spawn"
        given = (tuple(self.source), self.writer.out, self.writer.names)
        return ProcessPoolExecutor(workers or self.workers, multiprocessing.get_context(method), _begin, given)


def _is_done(future: Future[Totals]) -> bool:
    return future.done() and future.exception() is None


def _deadly(part: Part) -> InputError:
    first, last = part.items[0], part.items[-1]
    place = f"{first.source}:{first.line or 1} to {last.source}:{last.line or 1}"
    message = "an input here brings down the process that reads it, each time"
    return InputError([InputProblem(place, "too-large", message, expected="these inputs audited apart")])


def _begin(source: Sequence[Any], out: Path, names: Pseudonyms | None) -> None:
    global _WRITER
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _WRITER = PartWriter(Auditor(_PACK or load_pack(*source)), out, names)


def _write(part: Part) -> Totals:
    assert _WRITER is not None
    return _WRITER.write(part)
