"""One line a request: when, which, what kind, how it ended, how long. No word of the visit, no name, no query."""

from __future__ import annotations

import logging
import sys
import time

LOG = logging.getLogger("layette.service")


def to_stderr() -> None:
    """Write the lines to stderr, each with its moment in UTC."""
    handler = logging.StreamHandler(sys.stderr)
    form = logging.Formatter("%(asctime)s.%(msecs)03dZ %(message)s", "%Y-%m-%dT%H:%M:%S")
    form.converter = time.gmtime
    handler.setFormatter(form)
    LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    LOG.propagate = False


def request(number: str, method: str, route: str, status: int, seconds: float) -> None:
    """Tell of one request; ``route`` is the pattern of the path, never the path itself."""
    LOG.info("%s %s %s %d %.1f ms", number, method, route, status, 1000 * seconds)
