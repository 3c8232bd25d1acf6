"""`layette serve`: the exam page, and the engine as a local service."""

from __future__ import annotations

import argparse
import socket
import sys
from contextlib import suppress

from layette.engine.api import load_pack
from layette.mapping.cores import cores

_PORT = 8470


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Serve the exam page and the interface for programs on this machine. Nothing of a visit is kept. "
        "Needs the extra `serve`."
    )
    verb.add_argument("--port", type=int, default=_PORT, metavar="N", help=f"port (default: {_PORT}; 0: any free one)")
    verb.add_argument("--host", default="127.0.0.1", metavar="ADDRESS", help="address (default: 127.0.0.1)")
    verb.add_argument("--pack", metavar="DIR", help="the rule pack (default: the one that ships with Layette)")
    verb.add_argument("--site", metavar="FILE", help="the site file: settings, time zone, own tables")
    verb.add_argument("--workers", type=int, metavar="N", help="processes that answer (default: all cores)")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Serve until asked to stop; returns 0."""
    from layette.mapping.service.limits import Limits
    from layette.mapping.service.names import LOOPBACK
    from layette.mapping.service.serving import serve

    pack = load_pack(arguments.pack, arguments.site)
    listening = socket.create_server((arguments.host, arguments.port))
    print(f"layette: http://{arguments.host}:{listening.getsockname()[1]}/", file=sys.stderr)
    with suppress(KeyboardInterrupt):
        serve(pack, listening, arguments.workers or cores(), Limits(), LOOPBACK)
    return 0
