"""The command `layette`: one verb a file; errors are sentences, never a traceback.

Only the verb that runs is imported, and the engine with it: help is there at once.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import threading
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from importlib import import_module
from typing import Any

DONE, FAILED = 0, 2
VERBS: Mapping[str, str] = {
    "assess": "assess one visit",
    "audit": "audit the visits of a cohort: what was due, and what was done",
    "check": "check a rule pack and run its cases",
    "export": "write a rule pack as FHIR R4",
    "family-form": "write what the family is asked before the visit, as HTML or PDF",
    "family-sheet": "write what the family keeps, as HTML or PDF",
    "findings": "list what can be recorded, with values and units",
    "report": "write one visit as a page for a clinician, as HTML or PDF",
    "rules": "list rules by word, target, finding or source",
    "serve": "serve the exam page and the engine on this machine",
    "validate": "check FHIR R4 resources and Bundles",
}
"""Each verb with its line of help. The module of its name has the rest: `add` its options, `run` what it does."""

_EPILOG = "Exit codes: 0 done; 2 the input, the pack or the command line has errors, all of them on stderr."


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns 0 (done) or 2 (errors, listed on stderr; no output half-written)."""
    if sys.stderr is None:  # closed; what is printed to nowhere would stand in the output
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115 - it stays open to the end
    _printable()
    try:
        with _stopped_like_by_hand():
            return _run(sys.argv[1:] if argv is None else argv)
    except KeyboardInterrupt:
        print("layette: stopped", file=sys.stderr)
        return FAILED


def _run(words: Sequence[str]) -> int:
    try:
        arguments = parser(words).parse_args(words)
    except SystemExit as stop:
        return DONE if stop.code in (0, None) else FAILED
    from layette.mapping.cli.failures import guarded

    return guarded(arguments.run, arguments)


@contextmanager
def _stopped_like_by_hand() -> Iterator[None]:
    """Let a request to end, or a terminal that is gone, stop a run as Ctrl-C does: what was begun is taken away."""
    taken: dict[int, Any] = {}
    names = ("SIGTERM", "SIGHUP") if threading.current_thread() is threading.main_thread() else ()
    for number in (getattr(signal, name) for name in names if hasattr(signal, name)):
        if signal.getsignal(number) is signal.SIG_DFL:  # who ignores it, or answers it himself, goes on so
            taken[number] = signal.signal(number, signal.default_int_handler)
    try:
        yield
    finally:
        for number, before in taken.items():
            signal.signal(number, before)


def parser(words: Collection[str] = tuple(VERBS)) -> argparse.ArgumentParser:
    """Return the parser of the command, with the options of those verbs that are among the words of a command line."""
    top = argparse.ArgumentParser(
        prog="layette",
        description="Clinical rules for the newborn's first office visits: coded findings in, proposals for "
        "referrals, orders, rechecks and guidance out. Proposals are for a clinician to judge.",
        epilog=_EPILOG,
    )
    top.add_argument("--version", action=_Version, nargs=0, help="show program's version number and exit")
    verbs = top.add_subparsers(title="commands", dest="command", required=True, metavar="COMMAND")
    for verb, line in VERBS.items():
        options = verbs.add_parser(verb, help=line)
        if verb in words:
            import_module(f"layette.mapping.cli.verbs.{verb.replace('-', '_')}").add(options)
    return top


class _Version(argparse.Action):
    """Print the version, which only the engine knows."""

    def __call__(self, parser: argparse.ArgumentParser, *_: Any, **__: Any) -> None:
        from layette.engine import __version__

        print(f"layette {__version__}")
        parser.exit()


def _printable() -> None:
    """Let no terminal's encoding stop a page: what it cannot show is written as an escape."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
