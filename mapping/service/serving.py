"""A server on an address, from its start to a clean stop."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterable

import uvicorn

from layette.engine.api import Pack
from layette.mapping.service import log
from layette.mapping.service.app import application
from layette.mapping.service.limits import Limits
from layette.mapping.service.workers import Pool

_GRACE = 10


def serve(pack: Pack, listening: socket.socket, workers: int, limits: Limits, names: Iterable[str]) -> None:
    """Serve until the process is asked to end (SIGTERM, Ctrl-C); what is being answered is answered first."""
    log.to_stderr()
    app = application(Pool(pack, workers, limits), limits, names)
    config = uvicorn.Config(
        app, lifespan="on", access_log=False, log_level="warning", server_header=False, proxy_headers=False,
        timeout_graceful_shutdown=_GRACE, ws="none",
    )  # fmt: skip
    asyncio.run(uvicorn.Server(config).serve([listening]))
