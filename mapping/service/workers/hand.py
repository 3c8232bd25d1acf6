"""The server's end of one worker process. Every call here blocks, and is made in a thread."""

from __future__ import annotations

import multiprocessing
import sys
from contextlib import suppress
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext, SpawnContext
from typing import Any

from layette.mapping.service.workers.child import END, READY, Perform, run

_GRACE = 2.0


def _context() -> SpawnContext | ForkServerContext:
    """Return the way to begin a process: never as a copy of the server, whose connections it would hold open."""
    if sys.platform == "win32":
        return multiprocessing.get_context("spawn")
    return multiprocessing.get_context("forkserver")


class OverranError(Exception):
    """A worker did not answer in time."""


class DiedError(Exception):
    """A worker ended without an answer."""


class Hand:
    """One worker process, and the line to it."""

    def __init__(self, pickled: bytes, perform: Perform) -> None:
        """Begin the process; what it needs is imported once, in the process from which all are forked."""
        context = _context()
        context.set_forkserver_preload([run.__module__])
        self.ready = False
        self.line: Connection[Any, Any]
        self.line, theirs = context.Pipe()
        self.process = context.Process(target=run, args=(theirs, pickled, perform), name="layette", daemon=True)
        self.process.start()
        theirs.close()

    def wait(self, seconds: float) -> None:
        """Wait until the worker is ready. Raises `OverranError` or `DiedError`."""
        self.ready = self._received(seconds) == READY
        if not self.ready:
            raise DiedError

    def ask(self, job: Any, seconds: float) -> Any:
        """Return the reply to a job. Raises `OverranError` or `DiedError`; the worker is then of no more use."""
        try:
            self.line.send(job)
        except OSError:
            raise DiedError from None
        return self._received(seconds)

    def _received(self, seconds: float) -> Any:
        try:
            if not self.line.poll(seconds):
                raise OverranError
            return self.line.recv()
        except (EOFError, OSError):
            raise DiedError from None

    def dismiss(self) -> None:
        """Let the worker end by itself, and stop it where it does not."""
        with suppress(OSError):
            self.line.send(END)
        self.process.join(_GRACE)
        self.kill()

    def kill(self) -> None:
        """Stop the worker wherever it is; whoever still listens to it learns that before the line is closed."""
        self.process.kill()
        self.process.join()
        self.process.close()
        self.line.close()
