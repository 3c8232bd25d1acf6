"""`layette family-form`: what the family is asked before the visit."""

from __future__ import annotations

import argparse

from layette.mapping.cli import pages
from layette.mapping.cli.input import check_language


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Write the form that a family fills in before the visit, on a phone or on paper: when to call instead, then "
        "the questions of the pack. Its answers are saved as a file that the exam page opens, as told by the family."
    )
    pages.add_out(verb)
    pages.add_rules(verb)
    verb.add_argument("--language", metavar="CODE", default="en", help="language, such as es (default: en)")
    verb.add_argument("--apart", action="store_true", help="the form that the mother fills in alone: mood, safety")
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the form; returns the exit code. Raises `InputError` for a language without words, or another ending."""
    from layette.mapping.pages.family_form import family_form

    pages.check(arguments)
    pack = pages.pack(arguments)
    check_language(arguments.language, pack)
    pages.write(family_form(pack, arguments.language, apart=arguments.apart), arguments.out)
    return 0
