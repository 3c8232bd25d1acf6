"""`layette assess`: one visit in, what is owed to this newborn out."""

from __future__ import annotations

import argparse
import os
import sys
from typing import Any

from layette.engine.answer.assessment import Assessment
from layette.engine.api import Pack, load_pack
from layette.engine.errors import InputError, InputProblem, LayetteError
from layette.mapping.cli import failures, output
from layette.mapping.codes import OWN_BASE
from layette.mapping.door import checked_output
from layette.mapping.fhir.json import dumps
from layette.mapping.fhir.xml import to_xml
from layette.mapping.intake import Asked, Given, take
from layette.mapping.text import render
from layette.mapping.text.saying import render_saying
from layette.mapping.write import to_bundle, to_outcome

FORMS = ("text", "json", "fhir-json", "fhir-xml")
READERS = {name: (name,) for name in ("native", "rete", "closures", "reference")} | {"both": None}


def add(verbs: Any) -> None:
    """Add the verb to the command."""
    verb: argparse.ArgumentParser = verbs.add_parser(
        "assess",
        help="assess one visit",
        description="Assess one visit: a FHIR R4 Bundle (JSON or XML), an HL7 v2 ORU^R01 message, or a flat visit "
        "(JSON or YAML), told apart by content. The result is a set of proposals for a clinician to judge.",
    )
    verb.add_argument("input", metavar="INPUT", help="the file to read; - reads stdin")
    verb.add_argument("--to", choices=FORMS, default="text", help="form of the output (default: text)")
    verb.add_argument("--out", metavar="FILE", help="write to FILE, whole or not at all (default: stdout)")
    verb.add_argument(
        "--at", metavar="TIME", help="the moment of the visit, ISO 8601 with offset (default: the input's)"
    )
    verb.add_argument("--subject", metavar="REF", help="the newborn, where the FHIR input holds more than one")
    verb.add_argument("--encounter", metavar="REF", help="the visit's Encounter (default: the newborn's latest)")
    verb.add_argument("--pack", metavar="DIR", help="the rule pack (default: the one that ships with Layette)")
    verb.add_argument("--site", metavar="FILE", help="the site file: settings, time zone, own tables")
    verb.add_argument(
        "--readers",
        choices=READERS,
        help="readers of the rules to use (default: both, the second being rete where it is installed, else closures)",
    )
    verb.add_argument("--all", action="store_true", help="text: show every list to its end")
    verb.add_argument(
        "--say", action="store_true", help="text: print what the examiner can say to the family, instead of the summary"
    )
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Assess the input and write the result; returns the exit code."""
    try:
        content, counts = _answer(arguments)
    except LayetteError as error:
        failures.report(error)
        if arguments.to.startswith("fhir-"):
            output.write(_fhir(to_outcome(error), arguments.to), arguments.out)
        return 2
    output.write(content, arguments.out)
    if counts:
        print(f"layette: {counts}", file=sys.stderr)
    return 0


def _answer(arguments: argparse.Namespace) -> tuple[str | bytes, str]:
    """Return the whole output, and the account of the input where the output does not hold it."""
    if arguments.say and arguments.to != "text":
        raise InputError([InputProblem("--say", "setting", "the words are printed as text", arguments.to, "--to text")])
    pack = load_pack(arguments.pack, arguments.site)
    base = pack.site.canonical or OWN_BASE
    asked = Asked(arguments.at, arguments.subject, arguments.encounter)
    given = take(arguments.input, pack, base, asked)
    found = _counted(pack, given, arguments)
    if arguments.say:
        visit = pack.read_visit(given.visit, arguments.at)
        return render_saying(found, pack, visit, full=arguments.all), given.counts
    if arguments.to == "text":
        return _text(found, pack, given, arguments), ""
    if arguments.to == "json":
        return found.to_json() + "\n", given.counts
    bundle = checked_output(to_bundle(found, pack, source=given.source, base=base, visit=given.visit))
    return _fhir(bundle, arguments.to), given.counts


def _counted(pack: Pack, given: Given, arguments: argparse.Namespace) -> Assessment:
    """Assess; an error carries the account of the input as a note, so that it is printed whatever happens."""
    try:
        return _assess(pack, given, arguments)
    except LayetteError as error:
        error.add_note(given.counted(error.problems) if isinstance(error, InputError) else given.counts)
        raise


def _assess(pack: Pack, given: Given, arguments: argparse.Namespace) -> Assessment:
    if given.problems:
        more, urgent = _rest(pack, given, arguments)
        raise InputError((*given.problems, *more), urgent)
    try:
        return pack.assess(given.visit, at=arguments.at, readers=READERS.get(arguments.readers))
    except ValueError as error:
        raise InputError([InputProblem("--readers", "setting", str(error))]) from None


def _rest(pack: Pack, given: Given, arguments: argparse.Namespace) -> tuple[tuple[InputProblem, ...], tuple[str, ...]]:
    """Return what else is wrong, and the emergencies that the usable rest decides: a mistake must hide none.

    That the moment or the birth is missing has been said by reading, with its place in the input.
    """
    try:
        found = pack.assess(given.visit, at=arguments.at)
    except InputError as error:
        known = {problem.path for problem in given.problems} | ({"at", "born"} - given.visit.keys())
        return tuple(problem for problem in error.problems if problem.path not in known), error.urgent
    except LayetteError as error:
        return (), (str(error),)
    pressing = [one for one in found.recommendations if one.priority == "stat"]
    lines = tuple(
        f"{one.label}{', ' + one.side if one.side else ''}: {one.reasons[0].because} ({one.reasons[0].rule})"
        for one in pressing
    )
    return (), lines


def _text(found: Assessment, pack: Pack, given: Given, arguments: argparse.Namespace) -> str:
    awaited = {name for name, shape in pack.findings.items() if shape.awaited}
    notices = tuple(notice for notice in given.notices if notice not in found.notices)
    page = found.model_copy(update={"notices": (*found.notices, *notices)})
    return render(page, colour=_colour(arguments.out), full=arguments.all, awaited=awaited, counts=given.counts)


def _colour(out: str | None) -> bool:
    """Colour only on a terminal, and never where the user has asked for none (NO_COLOR)."""
    return out is None and sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def _fhir(resource: dict[str, Any], form: str) -> str | bytes:
    return to_xml(resource) + b"\n" if form == "fhir-xml" else dumps(resource, indent=2) + "\n"
