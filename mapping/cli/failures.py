"""Errors on stderr: how many, each with its place, and what is urgent in spite of them."""

from __future__ import annotations

import sys

from layette.engine.errors import InputError, LayetteError, PackError, ReadersDisagree
from layette.mapping.text import tidy


def report(error: LayetteError) -> None:
    """Print every problem of an error, one a line, and at the end the account of the input that it carries."""
    print(_headline(error), file=sys.stderr)
    for line in _lines(error):
        print(f"  {tidy(line)}", file=sys.stderr)
    for line in error.urgent if isinstance(error, InputError) else ():
        print(f"URGENT, decided by the rest of the input: {tidy(line)}", file=sys.stderr)
    for line in getattr(error, "__notes__", ()):
        print(f"layette: {tidy(line)}", file=sys.stderr)


def _headline(error: LayetteError) -> str:
    if isinstance(error, InputError):
        return f"layette: {_count(len(error.problems))} in the input; nothing was written"
    if isinstance(error, PackError):
        return f"layette: {_count(len(error.problems))} in the rule pack; nothing was decided"
    return "layette: no answer" if isinstance(error, ReadersDisagree) else "layette: error"


def _lines(error: LayetteError) -> list[str]:
    if isinstance(error, (InputError, PackError)):
        return [str(problem) for problem in error.problems]
    return str(error).splitlines()


def _count(number: int) -> str:
    return "1 problem" if number == 1 else f"{number} problems"
