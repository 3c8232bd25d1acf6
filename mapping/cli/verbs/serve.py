"""`layette serve`: the exam page, and the engine as a local service."""

from __future__ import annotations

import argparse
import sys
from importlib.util import find_spec

from layette.engine.errors import InputError, InputProblem

_PORT = 8470
_MEGABYTE = 1024 * 1024


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Serve the exam page, and the engine for other programs, on this machine. Nothing of a visit is kept. Needs "
        "the extra `serve`. Another machine reaches it only with --open-to-network; there is no sign-in."
    )
    verb.add_argument(
        "--port", type=int, default=_PORT, metavar="N", help=f"port; 0 takes a free one (default: {_PORT})"
    )
    verb.add_argument("--host", default="127.0.0.1", metavar="ADDRESS", help="IP address (default: 127.0.0.1)")
    verb.add_argument(
        "--open-to-network", action="store_true", help="let --host be an address that other machines reach"
    )
    verb.add_argument(
        "--name", action="append", default=[], metavar="NAME", help="a name by which browsers reach the server; repeat"
    )
    verb.add_argument("--pack", metavar="DIR", help="the rule pack (default: the one that ships with Layette)")
    verb.add_argument("--site", metavar="FILE", help="the site file: settings, time zone, own tables")
    verb.add_argument("--workers", type=int, metavar="N", help="processes that answer (default: all cores)")
    verb.add_argument("--queue", type=int, default=64, metavar="N", help="requests that may wait (default: 64)")
    verb.add_argument("--seconds", type=float, default=10.0, metavar="S", help="time for one request (default: 10)")
    verb.add_argument("--megabytes", type=float, default=8.0, metavar="N", help="size of one request (default: 8)")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Serve until asked to stop; returns 0."""
    _check(arguments)
    # Only whoever serves has these installed.
    from layette.engine.api import load_pack
    from layette.mapping.cores import cores
    from layette.mapping.service.limits import Limits
    from layette.mapping.service.listening import Address, address
    from layette.mapping.service.serving import serve

    place: Address = address(arguments.host, arguments.open_to_network, arguments.name)
    limits = Limits(
        size=round(arguments.megabytes * _MEGABYTE), seconds=arguments.seconds, waiting=arguments.queue
    )  # fmt: skip
    # The port first, so that one that is taken is told at once.
    with place.bound(arguments.port) as listening:
        pack = load_pack(arguments.pack, arguments.site)

        def ready() -> None:
            for line in place.told(listening.getsockname()[1]):
                print(f"layette: {line}", file=sys.stderr, flush=True)

        serve(pack, listening, arguments.workers or cores(), limits, place.names, ready)
    return 0


def _check(arguments: argparse.Namespace) -> None:
    """Refuse numbers that make no server, and an installation without the extra."""
    least = {"--workers": (arguments.workers, 1), "--queue": (arguments.queue, 1), "--port": (arguments.port, 0)}
    problems = [
        InputProblem(name, "setting", "too small a number", str(value), f"a number from {low} on")
        for name, (value, low) in least.items()
        if value is not None and value < low
    ]
    for name, amount in (("--seconds", arguments.seconds), ("--megabytes", arguments.megabytes)):
        if not amount > 0:
            problems.append(InputProblem(name, "setting", "too small a number", str(amount), "a number above 0"))
    missing = [module for module in ("fastapi", "uvicorn") if find_spec(module) is None]
    if missing:
        message, right = f"{' and '.join(missing)} not installed", "pip install 'layette[serve]'"
        problems.append(InputProblem("serve", "setting", message, expected=right))
    if problems:
        raise InputError(problems)
