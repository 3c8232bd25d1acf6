"""A server on an address, from its start to a clean stop."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Set
from contextlib import suppress

import uvicorn

from layette.engine.api import Pack
from layette.mapping.service import log
from layette.mapping.service.app import application
from layette.mapping.service.limits import Limits
from layette.mapping.service.workers import Pool

_GRACE = 10
"""Seconds in which what is being answered may end when the server is asked to stop."""


class _Server(uvicorn.Server):
    """A server that says when it is ready."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None]) -> None:
        super().__init__(config)
        self.ready = ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            self.ready()


def serve(
    pack: Pack, listening: socket.socket, workers: int, limits: Limits, names: Set[str], ready: Callable[[], None]
) -> None:
    """Serve until the process is asked to end (SIGTERM, Ctrl-C); what is being answered is answered first.

    ``ready`` is called when the server answers. Raises `NoWorkersError` where no worker begins.
    """
    log.to_stderr()
    pool = Pool(pack, workers, limits)
    app = application(pool, limits, names)
    config = uvicorn.Config(
        app, lifespan="off", access_log=False, log_level="critical", server_header=False, proxy_headers=False,
        timeout_graceful_shutdown=_GRACE, ws="none",
    )  # fmt: skip
    with suppress(KeyboardInterrupt):  # the server has stopped, and hands on the signal that asked it to
        asyncio.run(_run(_Server(config, ready), pool, listening))


async def _run(server: _Server, pool: Pool, listening: socket.socket) -> None:
    try:
        await pool.start()
        await server.serve([listening])
    finally:
        await pool.stop()
