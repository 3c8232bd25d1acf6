"""`layette family-sheet`: what the family keeps of one visit."""

from __future__ import annotations

import argparse

from layette.mapping.cli import pages
from layette.mapping.cli.input import check_language


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Write what the family keeps, two pages at most: what we saw, what to do at home, when to call, when to come "
        "back. Nothing that the mother answered stands on it. The input is what `assess` takes."
    )
    pages.add(verb)
    verb.add_argument("--language", metavar="CODE", default="en", help="language, such as es (default: en)")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the sheet; returns the exit code. Raises `InputError` as `answer` does, or for a language without words."""
    from layette.mapping.pages.family_sheet import family_sheet

    pages.check(arguments)
    pack = pages.pack(arguments)
    check_language(arguments.language, pack)
    found = pages.answered(arguments, pack)
    pages.write(family_sheet(found.assessment, pack, found.visit, arguments.language), arguments.out)
    return 0
