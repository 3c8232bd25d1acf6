"""The command `layette`: one verb a file; errors are sentences, never a traceback."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from types import ModuleType

from layette import engine
from layette.engine.errors import LayetteError
from layette.mapping.cli import assess, check, export, validate
from layette.mapping.cli.failures import report

DONE, FAILED = 0, 2
VERBS: tuple[ModuleType, ...] = (assess, check, export, validate)
_EPILOG = "Exit codes: 0 done; 2 the input, the pack or the command line has errors, all of them on stderr."


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns 0 (done) or 2 (errors, listed on stderr; no output half-written)."""
    _printable()
    try:
        arguments = parser().parse_args(argv)
    except SystemExit as stop:
        return DONE if stop.code in (0, None) else FAILED
    try:
        return int(arguments.run(arguments))
    except LayetteError as error:
        report(error)
    except BrokenPipeError:
        # The reader of our output has gone; a second complaint at exit would only confuse.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except KeyboardInterrupt:
        print("layette: stopped", file=sys.stderr)
    except OSError as error:
        what = error.strerror or type(error).__name__
        print(f"layette: {what}: {error.filename or 'input or output'}", file=sys.stderr)
    except Exception as error:  # the last resort: a fault of ours must not look like an answer
        print(_fault(error), file=sys.stderr)
    return FAILED


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command."""
    top = argparse.ArgumentParser(
        prog="layette",
        description="Clinical rules for the newborn's first office visits: coded findings in, proposals for "
        "referrals, orders, rechecks and guidance out. Proposals are for a clinician to judge.",
        epilog=_EPILOG,
    )
    top.add_argument("--version", action="version", version=f"layette {engine.__version__}")
    verbs = top.add_subparsers(title="commands", dest="command", required=True, metavar="COMMAND")
    for verb in VERBS:
        verb.add(verbs)
    return top


def _fault(error: Exception) -> str:
    """Say where a fault of ours lies without repeating its message, which may hold data of the visit."""
    place = error.__traceback__
    while place is not None and place.tb_next is not None:
        place = place.tb_next
    where = f"{os.path.basename(place.tb_frame.f_code.co_filename)}:{place.tb_lineno}" if place else "unknown place"
    return f"layette: a fault of the program, not of the input ({type(error).__name__} at {where}); nothing was decided"


def _printable() -> None:
    """Let no terminal's encoding stop a page: what it cannot show is written as an escape."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
