"""`layette report`: one visit as a page for a clinician."""

from __future__ import annotations

import argparse

from layette.mapping.cli import pages


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Write one visit as a page for a clinician, two when printed: what to do by when, with figures of the "
        "measures. The input is what `assess` takes."
    )
    pages.add(verb)
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the report; returns the exit code. Raises `InputError` as `answer` does."""
    from layette.mapping.pages.report import report

    pages.check(arguments)
    pack = pages.pack(arguments)
    found = pages.answered(arguments, pack)
    pages.write(report(found.assessment, pack, found.visit), arguments.out)
    return 0
