"""`layette validate`: is this FHIR R4 valid? For anyone's resources, whether Layette has a use for them or not."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Sequence
from pathlib import Path

from lxml import etree

from layette.engine.errors import TOLD, InputError, LayetteError
from layette.mapping.cli import output
from layette.mapping.cli.input import read_bytes
from layette.mapping.fhir.json import dumps, loads
from layette.mapping.fhir.xml import from_xml, validate_xsd
from layette.mapping.validate import Issue, errors, validate
from layette.mapping.validate.report import errors_first, operation_outcome, text_report

_XSD = "LAYETTE_FHIR_XSD"
_SPACE = b" \t\r\n\xef\xbb\xbf"
_FHIRPATH = re.compile(r"[A-Z][a-z][A-Za-z]*(\.|$)")
_CODES = {"too-large": "too-long"}


class NoSchemaError(LayetteError):
    """The XML Schema that was asked for cannot be used."""


def add(verb: argparse.ArgumentParser) -> None:
    """Add the options of the verb."""
    verb.description = (
        "Check FHIR R4 resources or Bundles, JSON or XML, told apart by content: structure, types, "
        "required codes, invariants, references, units, vital signs. Exit code 0 if no file has an error, else 2."
    )
    verb.add_argument("files", metavar="FILE", nargs="+", help="the files to check; - reads stdin")
    verb.add_argument("--to", choices=("text", "fhir-json"), default="text", help="form of the report (default: text)")
    verb.add_argument("--out", metavar="FILE", help="write to FILE, whole or not at all (default: stdout)")
    verb.add_argument("--advice", action="store_true", help="add what R4 only recommends, such as a narrative")
    verb.add_argument(
        "--xsd",
        metavar="PATH",
        default=os.environ.get(_XSD),
        help=f"check XML against fhir-single.xsd of R4 4.0.1 as well (default: {_XSD}; the file is HL7's to publish)",
    )
    verb.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Check the files and write one report; returns 0, or 2 where one of them has an error."""
    found = {name: _check(name, arguments) for name in dict.fromkeys(arguments.files)}
    output.write(_report(found, arguments.to), arguments.out)
    return 2 if any(errors(issues) for issues in found.values()) else 0


def _report(by_file: dict[str, list[Issue]], form: str) -> str:
    if form == "text":
        return "\n".join(text_report(issues, _shown(name)) for name, issues in by_file.items()) + "\n"
    whose = [(_shown(name), issue) for name, issues in by_file.items() for issue in issues]
    if len(whose) > TOLD:
        whose.sort(key=lambda one: errors_first(one[1].severity))
    outcome = operation_outcome([issue for _, issue in whose])
    for (name, _), told in zip(whose[:TOLD], outcome["issue"], strict=False):
        if not _FHIRPATH.match("".join(told["expression"])):
            del told["expression"]
        if len(by_file) > 1:  # the same path may stand in two of them
            told["diagnostics"] = f"{name}: {told['diagnostics']}"
    return dumps(outcome, indent=2) + "\n"


def _shown(name: str) -> str:
    return "stdin" if name == "-" else name


def _check(name: str, arguments: argparse.Namespace) -> list[Issue]:
    """Return the issues of one file; what cannot be read at all is one of them, and stops no other file."""
    try:
        data = read_bytes(name)
        is_xml = data.lstrip(_SPACE)[:1] == b"<"
        resource = from_xml(data) if is_xml else loads(data)
    except OSError as error:
        return [Issue("input", "error", "exception", f"It cannot be read: {error.strerror or 'no reason'}.", "file")]
    except InputError as error:
        return [
            _unreadable(problem.path, problem.code, f"{problem.message} {problem.value}".strip())
            for problem in error.problems
        ]
    issues = validate(resource, advice=arguments.advice)
    if arguments.xsd and not is_xml:
        print(f"layette: {_shown(name)} is JSON, so the XML Schema was not used", file=sys.stderr)
    return [*issues, *_by_schema(data, arguments.xsd)] if is_xml and arguments.xsd else issues


def _unreadable(path: str, code: str, message: str) -> Issue:
    return Issue(path, "error", _CODES.get(code, "structure"), message, code)


def _by_schema(data: bytes, xsd: str) -> Sequence[Issue]:
    """Return what the published XML Schema finds; raises `NoSchemaError` where the schema itself cannot be used."""
    try:
        lines = validate_xsd(data, Path(xsd))
    except (OSError, etree.LxmlError) as error:
        raise NoSchemaError(f"the XML Schema {xsd} cannot be used: {type(error).__name__}") from None
    return [Issue("XML", "error", "structure", line, "xsd") for line in lines]
