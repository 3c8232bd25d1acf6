"""Errors on stderr: how many, each with its place, and what is urgent in spite of them."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from contextlib import suppress

from layette.engine.errors import InputError, LayetteError, PackError, ReaderFailed, ReadersDisagree, told
from layette.mapping.text import tidy

FAILED = 2


def guarded(run: Callable[[argparse.Namespace], int], arguments: argparse.Namespace) -> int:
    """Run a verb and return its exit code; whatever goes wrong becomes a sentence, and 2."""
    try:
        return run(arguments)
    except LayetteError as error:
        report(error)
    except BrokenPipeError:
        _no_more_output()
    except OSError as error:
        if error.filename is None and error.errno is not None:  # stdout itself did not take what was written
            _no_more_output()
        what = error.strerror or type(error).__name__
        print(f"layette: {what}: {error.filename or 'input or output'}", file=sys.stderr)
    except Exception as error:  # the last resort: a fault of ours must not look like an answer
        print(_fault(error), file=sys.stderr)
    return FAILED


def _no_more_output() -> None:
    """Drop what stdout did not take: its reader has gone or its disk is full, and a second complaint would confuse."""
    if sys.stdout is not None:
        with suppress(OSError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _fault(error: Exception) -> str:
    """Say where a fault of ours lies without repeating its message, which may hold data of the visit."""
    place = error.__traceback__
    while place is not None and place.tb_next is not None:
        place = place.tb_next
    where = f"{os.path.basename(place.tb_frame.f_code.co_filename)}:{place.tb_lineno}" if place else "unknown place"
    return f"layette: a fault of the program, not of the input ({type(error).__name__} at {where}); nothing was decided"


def report(error: LayetteError, written: str = "nothing was written") -> None:
    """Print every problem of an error, one a line, and at the end the account of the input that it carries.

    ``written``: what becomes of the output, in words.
    """
    print(_headline(error, written), file=sys.stderr)
    for line in _lines(error):
        print(f"  {tidy(line)}", file=sys.stderr)
    if isinstance(error, (InputError, PackError)):
        print("  What the code in [ ] means, and how to mend it: schemas/errors.md", file=sys.stderr)
    for line in error.urgent:
        print(f"URGENT, {error.decided}: {tidy(line)}", file=sys.stderr)
    for line in getattr(error, "__notes__", ()):
        print(f"layette: {tidy(line)}", file=sys.stderr)


def _headline(error: LayetteError, written: str) -> str:
    if isinstance(error, InputError):
        return f"layette: {_count(len(error.problems))} in the input; {written}"
    if isinstance(error, PackError):
        return f"layette: {_count(len(error.problems))} in the rule pack{_of_site(error)}; nothing was decided"
    return "layette: no answer" if isinstance(error, ReadersDisagree | ReaderFailed) else "layette: error"


def _of_site(error: PackError) -> str:
    """Name the site file where a problem stands in it."""
    return " or the site file" if any(problem.file.startswith("site file ") for problem in error.problems) else ""


def _lines(error: LayetteError) -> list[str]:
    if isinstance(error, (InputError, PackError)):
        return told(error.problems)
    return str(error).splitlines()


def _count(number: int) -> str:
    return "1 problem" if number == 1 else f"{number} problems"
