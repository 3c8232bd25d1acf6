"""What one request may cost, and how many may wait."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of a server.

    ``size``: bytes of a body. ``seconds``: of work on one request; a worker that overruns is replaced. ``waiting``:
    requests that wait for a worker; one more is turned away, after a ``pause`` of seconds. ``patience``: seconds that
    one waits at most. ``upload``: seconds in which a body has to be here. ``ready``: seconds that a worker may need to
    begin.
    """

    size: int = 8 * 1024 * 1024
    seconds: float = 10.0
    waiting: int = 64
    pause: float = 0.5
    patience: float = 20.0
    upload: float = 20.0
    ready: float = 120.0
