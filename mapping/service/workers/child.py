"""What runs in a worker process: the pack is made once, then a job, a reply, a job, a reply."""

from __future__ import annotations

import pickle
import signal
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

from layette.engine.api import Pack
from layette.mapping.service.work import warm
from layette.mapping.settle import settle

READY, END = "ready", None

Perform = Callable[[Pack, Any], Any]


def run(line: Connection[Any, Any], pickled: bytes, perform: Perform) -> None:
    """Answer jobs until the server closes the line or is gone. Ctrl-C is for the server to answer."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    pack: Pack = pickle.loads(pickled)
    warm(pack)
    settle()
    try:
        line.send(READY)
        while (job := line.recv()) is not END:
            line.send(perform(pack, job))
    except (EOFError, BrokenPipeError, ConnectionResetError):
        return
