"""The command `layette`: one verb a file; errors are sentences, never a traceback.

Only the verb that runs is imported, and the engine with it: help is there at once.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Collection, Mapping, Sequence
from importlib import import_module
from typing import Any

DONE, FAILED = 0, 2
VERBS: Mapping[str, str] = {
    "assess": "assess one visit",
    "check": "check a rule pack and run its cases",
    "export": "write a rule pack as FHIR R4",
    "findings": "list what can be recorded, with values and units",
    "rules": "list rules by word, target, finding or source",
    "validate": "check FHIR R4 resources and Bundles",
}
"""Each verb with its line of help. The module of its name has the rest: `add` its options, `run` what it does."""

_EPILOG = "Exit codes: 0 done; 2 the input, the pack or the command line has errors, all of them on stderr."


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns 0 (done) or 2 (errors, listed on stderr; no output half-written)."""
    _printable()
    words = sys.argv[1:] if argv is None else argv
    try:
        arguments = parser(words).parse_args(words)
    except SystemExit as stop:
        return DONE if stop.code in (0, None) else FAILED
    from layette.mapping.cli.failures import guarded

    return guarded(arguments.run, arguments)


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
            import_module(f"layette.mapping.cli.{verb}").add(options)
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
