"""The application of `layette serve` as a test asks it: with its workers, without a network."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

import httpx

from layette.engine.api import Pack
from layette.mapping.service.app import application
from layette.mapping.service.guard import App
from layette.mapping.service.limits import Limits
from layette.mapping.service.work import perform
from layette.mapping.service.workers import Pool
from layette.mapping.service.workers.child import Perform

T = TypeVar("T")
USUAL = Limits()
OWN = "http://127.0.0.1:8470"


class Service:
    """A running application. Calls come from the test's thread, and are answered in a loop of another."""

    def __init__(self, app: App, pool: Pool, loop: asyncio.AbstractEventLoop) -> None:
        self.app, self.pool, self.loop = app, pool, loop

    def run(self, work: Coroutine[Any, Any, T]) -> T:
        """Return what a coroutine gives."""
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(300)

    def ask(self, method: str, path: str, content: Any = None, **headers: str) -> httpx.Response:
        """Send one request; an underscore in the name of a header stands for a dash."""
        return self.run(self.asking(method, path, content, **headers))

    async def asking(self, method: str, path: str, content: Any = None, **headers: str) -> httpx.Response:
        """Send one request, as a coroutine."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        transport = httpx.ASGITransport(self.app)  # type: ignore[arg-type]
        async with httpx.AsyncClient(transport=transport, base_url=OWN, timeout=300) as client:
            return await client.request(method, path, content=content, headers=named)

    def post(self, path: str, content: Any, media: str = "application/json", **headers: str) -> httpx.Response:
        """Send a body."""
        return self.ask("POST", path, content, content_type=media, **headers)


@contextmanager
def served(
    pack: Pack, workers: int = 1, limits: Limits = USUAL, perform: Perform = perform, **more: Any
) -> Iterator[Service]:
    """Run an application while the test lasts."""
    loop = asyncio.new_event_loop()
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    pool = Pool(pack, workers, limits, perform)
    service = Service(application(pool, limits, **more), pool, loop)
    try:
        service.run(pool.start())
        yield service
    finally:
        service.run(pool.stop())
        loop.call_soon_threadsafe(loop.stop)
        thread.join()
        loop.close()
