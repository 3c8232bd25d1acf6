"""The workers, and the queue before them."""

from __future__ import annotations

import asyncio
import pickle
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

from layette.engine.api import Pack
from layette.engine.errors import LayetteError
from layette.mapping.service.limits import Limits
from layette.mapping.service.reply import Refusal, Reply
from layette.mapping.service.work import Job, perform
from layette.mapping.service.workers.child import Perform
from layette.mapping.service.workers.hand import DiedError, Hand, OverranError

T = TypeVar("T")
_PAUSE, _LONGEST_PAUSE = 0.5, 30.0


class NoWorkersError(LayetteError):
    """No worker could begin, so that nobody would answer."""


class Pool:
    """Worker processes that answer jobs, one job a worker at a time."""

    def __init__(self, pack: Pack, workers: int, limits: Limits, perform: Perform = perform) -> None:
        """Keep what a worker is made of: the pack as it is now, so that one begun later answers by the same rules."""
        self._pickled = pickle.dumps(pack, pickle.HIGHEST_PROTOCOL)
        self._perform = perform
        self._limits = limits
        self._number = workers
        self._hands: set[Hand] = set()
        self._waiting = 0
        self._running: set[asyncio.Task[Any]] = set()
        self._idle: asyncio.Queue[Hand] = asyncio.Queue()
        self._threads = ThreadPoolExecutor(workers + 1, "layette")

    async def start(self) -> None:
        """Begin all workers. Raises `NoWorkersError` where one does not begin."""
        begun = await asyncio.gather(*(self._begin() for _ in range(self._number)), return_exceptions=True)
        failed = [error for error in begun if isinstance(error, BaseException)]
        if failed:
            await self.stop()
            raise NoWorkersError(f"a worker process did not begin ({type(failed[0]).__name__})") from failed[0]

    async def stop(self) -> None:
        """End all workers."""
        for task in self._running:
            task.cancel()
        await asyncio.gather(*self._running, return_exceptions=True)
        await asyncio.gather(*(self._in_thread(hand.dismiss) for hand in self._hands))
        self._hands.clear()
        self._threads.shutdown()

    @property
    def ready(self) -> int:
        """The number of workers that have begun, at work or not."""
        return sum(hand.ready for hand in self._hands)

    async def ask(self, job: Job) -> Reply:
        """Return the reply to a job. Raises `Refusal`: too many wait, it took too long, or the worker broke down."""
        if self._waiting >= self._limits.waiting:
            # Whoever asks again at once, and again, would take from the workers the time in which they answer.
            await asyncio.sleep(self._limits.pause)
            raise _busy()
        self._waiting += 1
        try:
            async with asyncio.timeout(self._limits.patience):
                hand = await self._idle.get()
        except TimeoutError:
            raise _busy() from None
        finally:
            self._waiting -= 1
        # A caller who goes away leaves a worker at work: it is free again when it has answered, not before.
        return await asyncio.shield(self._kept(self._asked(hand, job)))

    async def _asked(self, hand: Hand, job: Job) -> Reply:
        try:
            reply: Reply = await self._in_thread(lambda: hand.ask(job, self._limits.seconds))
        except (OverranError, DiedError) as error:
            self._kept(self._replace(hand))
            raise _told(error, self._limits) from None
        self._idle.put_nowait(hand)
        return reply

    async def _begin(self) -> None:
        hand = await self._in_thread(lambda: Hand(self._pickled, self._perform))
        self._hands.add(hand)
        try:
            await self._in_thread(lambda: hand.wait(self._limits.ready))
        except (DiedError, OverranError):
            self._hands.discard(hand)
            await self._in_thread(hand.kill)
            raise
        self._idle.put_nowait(hand)

    async def _replace(self, hand: Hand) -> None:
        """Stop a worker and begin another, however often it has to be tried."""
        self._hands.discard(hand)
        await self._in_thread(hand.kill)
        pause = _PAUSE
        while True:
            try:
                await self._begin()
            except (DiedError, OverranError, OSError):
                await asyncio.sleep(pause)
                pause = min(2 * pause, _LONGEST_PAUSE)
            else:
                return

    def _kept(self, work: Coroutine[Any, Any, T]) -> asyncio.Task[T]:
        """Return work as a task that nobody drops before it is done."""
        task = asyncio.create_task(work)
        self._running.add(task)
        task.add_done_callback(self._running.discard)
        return task

    async def _in_thread(self, call: Callable[[], T]) -> T:
        return await asyncio.get_running_loop().run_in_executor(self._threads, call)


def _busy() -> Refusal:
    return Refusal("busy", "too many requests wait already; nothing was decided", expected="the same request later")


def _told(error: Exception, limits: Limits) -> Refusal:
    if isinstance(error, OverranError):
        message = f"the answer took more than {limits.seconds:g} s and was given up; nothing was decided"
        return Refusal("too-slow", message, expected="a smaller input, or the same request later")
    return Refusal("fault", "the process that worked on this request broke down; nothing was decided")
